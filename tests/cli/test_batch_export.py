"""`kuraban batch export`: a batch's folder for the shelf, as somebody types it."""

from __future__ import annotations

import csv
import subprocess
from pathlib import Path

import pytest

from kuraban.cli import batch_export as command
from tests.cli.conftest import Type
from tests.journals import live_through, site_file


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("night")
    live_through("slow-drift", folder / "data" / "kuraban.journal")
    return site_file(folder)


def test_a_batch_goes_to_the_shelf(site: Path, type_in: Type, tmp_path: Path) -> None:
    """One line says what was written; the folder says what it is, and what it is not."""
    out = tmp_path / "no-13"
    shown = type_in("batch", "export", "No. 13", "--out", out, "--parquet", "--site", site)
    assert shown.exit_code == 0, shown.stderr
    assert shown.stdout.startswith(f"{out}: ") and shown.stdout.count("\n") == 1
    about = (out / "README.txt").read_text("utf-8")
    assert "working record" in about and "not the statutory book" in about
    assert "Tank 2" in about and "still running" in about
    with (out / "rings.csv").open(encoding="utf-8-sig", newline="") as file:
        conditions = {row["condition"] for row in csv.DictReader(file)}
    assert "warm" in conditions
    assert (out / "readings-product.parquet").is_file()
    subprocess.run(["sha256sum", "--quiet", "--strict", "-c", "SHA256SUMS"], cwd=out, check=True)


def test_a_brewery_that_writes_japanese_is_told_in_japanese(
    site: Path, type_in: Type, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("KURABAN_SITE__LANGUAGE", "ja")
    out = tmp_path / "no-13"
    shown = type_in("batch", "export", "No. 13", "--out", out, "--site", site)
    assert shown.exit_code == 0, shown.stderr
    assert "法定の帳簿ではありません" in (out / "README.txt").read_text("utf-8")


def test_a_name_with_a_slip_is_told_by_the_nearest(
    site: Path, type_in: Type, tmp_path: Path
) -> None:
    shown = type_in("batch", "export", "No 13", "--out", tmp_path / "x", "--site", site)
    assert shown.exit_code == 2 and "No. 13" in shown.stderr
    assert not [*tmp_path.glob("*x*")]


def test_nothing_is_overwritten(site: Path, type_in: Type, tmp_path: Path) -> None:
    (tmp_path / "x").write_text("mine")
    shown = type_in("batch", "export", "No. 13", "--out", tmp_path / "x", "--site", site)
    assert shown.exit_code == 2 and "nothing is overwritten" in shown.stderr


def test_parquet_that_is_not_installed_is_said_at_once(
    site: Path, type_in: Type, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the words that install it; nothing is written."""
    monkeypatch.setattr(command, "parquet_available", lambda: False)
    out = tmp_path / "x"
    shown = type_in("batch", "export", "No. 13", "--out", out, "--parquet", "--site", site)
    assert shown.exit_code == 2 and "kuraban[parquet]" in shown.stderr
    assert not out.exists()
