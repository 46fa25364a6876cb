"""`kuraban page-test`: a real message, and which address took it."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Type
from tests.journals import site_file
from tests.sink import Sink


@pytest.fixture
def house(tmp_path: Path) -> tuple[Path, Sink, Sink]:
    """A site in which Aki has two phones and Ken one; and the services of both numbers."""
    well, sick = Sink(), Sink("500")
    site = site_file(tmp_path)
    text = site.read_text("utf-8")
    text = text.replace(
        'pages = ["json://127.0.0.1:9800/aki"]',
        f'pages = ["{well.url("aki")}", "{sick.url("aki")}"]\nnotices = ["{well.url("aki2")}"]',
    )
    for person in ("ken", "sho", "mio"):
        text = text.replace(f"json://127.0.0.1:9800/{person}", well.url(person))
    site.write_text(text, "utf-8")
    return site, well, sick


def test_it_says_by_number_which_address_took_it(
    house: tuple[Path, Sink, Sink], type_in: Type
) -> None:
    """And never shows an address."""
    site, well, _ = house
    shown = type_in("page-test", "aki", "--site", site)
    assert shown.exit_code == 1
    lines = shown.output.splitlines()
    assert lines[0] == "Aki, address 1 (rings): taken"
    assert lines[1].startswith("Aki, address 2 (rings): the service answered no")
    assert lines[2] == "Aki, address 3 (notices only): taken"
    assert "127.0.0.1" not in shown.output
    assert [rung.title for rung in well.got] == ["見張りの試し", "見張りの試し"]


def test_everyone_is_tried(house: tuple[Path, Sink, Sink], type_in: Type) -> None:
    site, well, _ = house
    shown = type_in("page-test", "--all", "--site", site)
    assert {"Aki", "Ken", "Sho", "Mio"} <= {line.split(",")[0] for line in shown.output.split("\n")}
    assert {rung.path for rung in well.got} >= {"/ken", "/sho", "/mio"}


def test_all_taken_is_well(house: tuple[Path, Sink, Sink], type_in: Type) -> None:
    assert type_in("page-test", "ken", "--site", house[0]).exit_code == 0


@pytest.mark.parametrize("words", [("kenn",), (), ("ken", "--all")])
def test_whom_to_ring_must_be_clear(
    words: tuple[str, ...], house: tuple[Path, Sink, Sink], type_in: Type
) -> None:
    shown = type_in("page-test", *words, "--site", house[0])
    assert shown.exit_code == 2 and shown.stderr.count("\n") == 1
    assert not house[1].got
