"""The command that looks at everything around the watch."""

from __future__ import annotations

import json

from tests.cli.conftest import SITE, Type


def test_each_thing_is_one_line_and_what_is_wrong_says_what_to_do(type_in: Type) -> None:
    """Nothing runs at the invented brewery: that is to be put right, and the status says so."""
    told = type_in("doctor", "--site", SITE)
    assert told.exit_code == 1
    lines = told.stdout.splitlines()
    assert any(line.startswith("◼ broker: nobody listens") for line in lines)
    assert any(line.startswith(("  disk: ", "◆ disk: ")) for line in lines)
    assert any(line.startswith("◆ sign of life: ") and "; name an" in line for line in lines)


def test_a_script_is_told_the_same_as_json(type_in: Type) -> None:
    told = type_in("doctor", "--json", "--site", SITE)
    found = json.loads(told.stdout)
    assert {"what", "grade", "says", "do"} == set(found[0])
    assert {one["grade"] for one in found} <= {"well", "look", "fault"}
    assert told.exit_code == 1


def test_a_site_file_with_faults_is_answered_with_them(type_in: Type, tmp_path: object) -> None:
    told = type_in("doctor", "--site", f"{tmp_path}/none.toml")
    assert told.exit_code == 2
