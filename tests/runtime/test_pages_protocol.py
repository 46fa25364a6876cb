"""What the watch and its pages say to each other comes through whole, or is told as wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from kuraban.clock import Clock
from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.errors import MachineError
from kuraban.runtime.pages_protocol import Start, Word, pack_picture, read_picture, read_word
from kuraban.settings import load
from tests.edges.web.served import SITE, Served

ENTRIES = (
    e.Stir(for_=e.Duration(600.0)),
    e.Aim(celsius=10.5, by=e.Moment(1_770_000_000.0)),
    e.Note(text="泡 <b>高い</b>"),
    e.TakeBack(of="abc"),
)


@pytest.mark.parametrize("entry", ENTRIES, ids=e.kind_of)
def test_an_entry_comes_through_whole(entry: e.Entry) -> None:
    """Durations and times with it, and who made it which way."""
    logged = Logged("a1", "tank-3", entry, 10.0, 11.0, "mio", "page")
    assert read_word(Word(entry=logged).packed()).entry == logged


def test_a_picture_comes_through_whole(tmp_path: Path) -> None:
    """Every place, ring, bed and cooler of a night."""
    snapshot = Served.live(tmp_path).snapshot()
    assert read_picture(pack_picture(snapshot)) == snapshot


@pytest.mark.parametrize("words", [b"\x80\x04.", b"", b"\xc1" * 50, b"\x81\xa5entry\x01"])
def test_what_is_no_word_is_told_as_such(words: bytes) -> None:
    """The watch reads by shape: whatever took the pages over cannot make it run anything."""
    with pytest.raises(MachineError, match="cannot be read"):
        read_word(words)


def test_the_pages_begin_with_all_that_they_need(tmp_path: Path) -> None:
    settings = load(SITE, {})
    start = Start(settings, "k" * 64, tmp_path, Clock(2.0, 5.0, 1.0).pace)
    found = Start.unpacked(start.packed())
    assert (found.key, found.history, found.settings) == (start.key, tmp_path, settings)
    assert Clock(*found.pace)() == pytest.approx(Clock(2.0, 5.0, 1.0)(), abs=5.0)
