"""What is known of the libraries' weaknesses: none, some, or that nobody could be asked."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOUND = {"name": "paho-mqtt", "version": "2.1.0", "vulns": []}
WEAK = {
    "name": "typer", "version": "0.1",
    "vulns": [{"id": "CVE-0000-0001", "fix_versions": ["0.2"], "description": "invented"}],
}  # fmt: skip
UNASKED = {"name": "rich", "skip_reason": "could not be asked"}


def read(path: Path, *listed: object) -> subprocess.CompletedProcess[str]:
    path.write_text(json.dumps({"dependencies": listed, "fixes": []}))
    return said(path)


def said(path: Path) -> subprocess.CompletedProcess[str]:
    command = [ROOT / ".ci" / "audit", "--read", path]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_a_known_weakness_fails_and_names_library_and_cure(tmp_path: Path) -> None:
    told = read(tmp_path / "found", SOUND, WEAK, UNASKED)
    assert told.returncode == 1
    assert "typer 0.1: CVE-0000-0001, mended in 0.2" in told.stdout
    assert "no weakness" not in told.stdout


def test_where_all_could_be_asked_none_is_known(tmp_path: Path) -> None:
    told = read(tmp_path / "found", SOUND, {**SOUND, "name": "typer"})
    assert (told.returncode, told.stdout) == (0, "no weakness is known of 2 libraries\n")


def test_what_could_not_be_asked_is_unknown_and_never_sound(tmp_path: Path) -> None:
    told = read(tmp_path / "found", UNASKED, UNASKED)
    assert told.returncode == 0 and "of 2 of 2 libraries are unknown" in told.stdout
    assert "no weakness" not in told.stdout
    told = read(tmp_path / "found", SOUND, UNASKED)
    assert "of 1 of 2 libraries are unknown" in told.stdout
    assert "no weakness is known of 1 libraries" in told.stdout


@pytest.mark.parametrize("report", ["", "{", "[]", "null"])
def test_no_report_is_unknown(tmp_path: Path, report: str) -> None:
    (tmp_path / "found").write_text(report)
    told = said(tmp_path / "found")
    assert told.returncode == 0 and "are unknown: pip-audit gave no report" in told.stdout


def test_a_weakness_fails_the_whole_command() -> None:
    assert ".ci/audit || status=1" in (ROOT / ".ci" / "run").read_text("utf-8")


def test_what_is_installed_is_taken_by_its_hashes_alone() -> None:
    """On the board, in the image, for the tests: never a name without a hash."""
    for path in ("deploy/install", "deploy/compose/Dockerfile", "deploy/environment"):
        text = (ROOT / path).read_text("utf-8")
        assert "--require-hashes -r" in text
        assert "--no-deps --no-build-isolation --no-index" in text
