from __future__ import annotations

from pathlib import Path

from kuraban.store.forwarded import Forwarded
from kuraban.store.journal import Journal


def test_each_receiver_has_its_own_place(kept: Journal, path: Path) -> None:
    """After a restart each goes on where it stopped, a new one at the beginning."""
    first = Forwarded(path, "office")
    assert first.seq() == 0
    first.move(41)
    first.move(42)
    first.close()
    again, other = Forwarded(path, "office"), Forwarded(path, "cloud")
    assert (again.seq(), other.seq()) == (42, 0)
    again.close()
    other.close()
