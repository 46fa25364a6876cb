"""`kuraban batch way`, as somebody types it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from kuraban.core import entries as e
from kuraban.core.units import DAY, HOUR
from tests.cli.conftest import Type
from tests.journals import site_file
from tests.queries.batches.test_batch_way import Season


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Of a house whose journal nobody changes here."""
    folder = tmp_path_factory.mktemp("house")
    (folder / "data").mkdir()
    diary = Season(folder / "data" / "kuraban.journal")
    diary.tell("tank-1", e.BatchStart(batch="No. 1", course="moromi-ordinary-20"), 0)
    diary.tell("tank-1", e.Addition(what="starter", litres=90, batch="Moto 5"), 60)
    diary.tell("tank-1", e.Press(to=("tank-2",)), 20 * DAY)
    diary.tell("tank-2", e.BatchStart(batch="No. 1", course="sake-heated"), 20 * DAY + HOUR)
    diary.journal.close()
    return site_file(folder)


def test_what_went_in_where_it_stood_and_where_it_went(site: Path, type_in: Type) -> None:
    shown = type_in("batch", "way", "No. 1", "--site", site)
    assert shown.exit_code == 0, shown.stderr
    lines = shown.stdout.splitlines()
    assert "Moto 5 went into Tank 1, batch No. 1" in lines[0]
    assert "No. 1 was pressed into Tank 2" in lines[1]
    assert lines[2].startswith("No. 1: Tank 1, 2026-01-10 09:30 to 2026-01-30 09:30")


def test_a_script_reads_it_as_json(site: Path, type_in: Type) -> None:
    shown = type_in("batch", "way", "Moto 5", "--json", "--site", site)
    told = json.loads(shown.stdout)
    assert [one["how"] for one in told["joints"]] == ["added", "pressed"]
    assert told["stood"][0]["start"] == "2026-01-10T09:30:00+09:00"


def test_a_name_with_a_slip_is_told_by_the_nearest(site: Path, type_in: Type) -> None:
    shown = type_in("batch", "way", "No 1", "--site", site)
    assert shown.exit_code == 2 and "No. 1" in shown.stderr
