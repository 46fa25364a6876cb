"""By which mark a person's calendar is good: made, renewed, withdrawn."""

from __future__ import annotations

from pathlib import Path

import pytest

from kuraban.edges.web.security.feed_marks import FILE, FeedMarks
from kuraban.errors import MachineError


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / FILE


def test_a_calendar_is_there_once_it_was_made_and_after_the_next_start_too(path: Path) -> None:
    marks = FeedMarks(path)
    assert "mio" not in marks and marks.of("mio") is None
    marks.renew("mio")
    assert "mio" in marks and FeedMarks(path).of("mio") == marks.of("mio") is not None
    assert path.stat().st_mode & 0o077 == 0


def test_a_new_one_voids_the_old_and_nobody_elses(path: Path) -> None:
    marks = FeedMarks(path)
    for person in ("mio", "ken"):
        marks.renew(person)
    mio, ken = marks.of("mio"), marks.of("ken")
    marks.renew("mio")
    assert marks.of("mio") != mio and marks.of("ken") == ken
    marks.withdraw("mio")
    assert FeedMarks(path).of("mio") is None and FeedMarks(path).of("ken") == ken


@pytest.mark.parametrize("text", ["mio", "\xff\n", "mio a b\n\n"])
def test_a_damaged_file_opens_no_calendar(path: Path, text: str) -> None:
    """People make new addresses; none is guessed."""
    path.write_text(text, "latin-1")
    assert "mio" not in FeedMarks(path)


def test_what_cannot_be_written_has_not_changed(path: Path) -> None:
    marks = FeedMarks(path / "nowhere")
    with pytest.raises(MachineError, match="let the pages write it"):
        marks.renew("mio")
    assert "mio" not in marks
