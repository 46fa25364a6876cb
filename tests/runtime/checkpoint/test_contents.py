"""What is in a checkpoint, for whoever looks through a journal."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from kuraban.core.effects import Turn
from kuraban.errors import JournalError
from kuraban.runtime.checkpoint.contents import Contents, Unreadable, contents
from kuraban.runtime.checkpoint.document import freeze, version
from kuraban.store.journal import Checkpoint, Journal
from tests.core.house import Night, mashing
from tests.store.stored import stored, unpack


@pytest.fixture
def night() -> Night:
    """Tank 3 in hand, the store shelved, a batch end that waits for a second person."""
    night = mashing()
    night.told |= {"t3-mid": 11.5, "s-air": 9.5}
    night.run(90)
    night.log("tank-3", "acknowledge", by="aki", for_="6h")
    night.log("store", "shelve", condition="warm", for_="4h", by="ken")
    night.log("tank-4", "batch-end", by="cho")
    return night


def kept(folder: Path, night: Night, written_by: str, blob: bytes | None = None) -> Path:
    path = folder / "kuraban.journal"
    found = freeze(night.engine)
    assert found is not None
    journal = Journal.open(path)
    journal.commit(Turn(now=night.now), Checkpoint(written_by, blob or bytes(found.blob)))
    journal.close()
    return path


def test_it_says_what_stands(tmp_path: Path, night: Night) -> None:
    found = contents(kept(tmp_path, night, version()))
    assert isinstance(found, Contents)
    assert (found.at, found.listed, found.in_hand, found.shelved) == (night.now, 3, 2, 1)
    assert (found.pending, found.entries, found.fits) == (1, len(night.facts) and 5, True)
    assert found.deadlines > 2 and found.size > 10_000


def test_what_another_version_remembers_is_not_looked_into(tmp_path: Path, night: Night) -> None:
    """What stands is; it is taken up, and the rest is built anew."""
    blob = msgspec.msgpack.encode(
        {**kept_document(night), "memory": {"pages": [[[0]]], "shapes": [["no class of ours"]]}}
    )
    found = contents(kept(tmp_path, night, "kuraban of last week", blob))
    assert isinstance(found, Contents) and not found.fits and found.listed == 3


def kept_document(night: Night) -> dict[str, object]:
    found = freeze(night.engine)
    assert found is not None
    document: dict[str, object] = msgspec.msgpack.decode(found.blob)
    return document


@pytest.mark.parametrize("ours", [True, False])
def test_what_cannot_be_read_says_why(tmp_path: Path, night: Night, ours: bool) -> None:
    """And whether it was this version that should have written it."""
    found = contents(kept(tmp_path, night, version() if ours else "another", b"\x80\x04\x95."))
    assert isinstance(found, Unreadable) and found.ours is ours and found.why


def test_memory_that_is_spoilt_is_found(tmp_path: Path, night: Night) -> None:
    shapes = [["kuraban.core.alarms.life_cycle.Alarm", "apply"]]
    spoilt = {**kept_document(night), "memory": {"pages": [[[0, 1]]], "shapes": shapes}}
    found = contents(kept(tmp_path, night, version(), msgspec.msgpack.encode(spoilt)))
    assert isinstance(found, Unreadable) and "holds no 'apply'" in found.why


def test_a_journal_without_checkpoint_has_none(tmp_path: Path) -> None:
    Journal.open(tmp_path / "kuraban.journal").close()
    assert contents(tmp_path / "kuraban.journal") is None
    with pytest.raises(JournalError):
        contents(tmp_path / "no.journal")


@pytest.mark.parametrize("packed", stored(), ids=lambda path: path.name)
def test_that_of_an_older_kuraban_was_code(tmp_path: Path, packed: Path) -> None:
    found = contents(unpack(packed, tmp_path / "kuraban.journal"))
    assert isinstance(found, Unreadable) and not found.ours
