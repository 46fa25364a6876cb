"""Which visits to the pages are over is known for as long as their cookies could come."""

from __future__ import annotations

import logging
from pathlib import Path

import pytest

from kuraban.edges.web.security.signed_out import FILE, SignedOut

NOON = 1_770_087_600.0
MONTH = 30 * 86400.0


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / FILE


def test_a_visit_that_was_signed_out_is_over_after_the_next_start_too(path: Path) -> None:
    first = SignedOut(path, NOON)
    assert "mio's" not in first
    first.add("mio's", NOON, NOON + MONTH)
    then = SignedOut(path, NOON + 60)
    assert "mio's" in then and "aki's" not in then


def test_what_no_cookie_can_open_any_more_is_forgotten(path: Path) -> None:
    """With the next one that signs out."""
    over = SignedOut(path, NOON)
    over.add("old", NOON, NOON + MONTH)
    over.add("new", NOON + MONTH + 1, NOON + 2 * MONTH)
    assert "old" not in over and "old" not in path.read_text()
    assert "new" in SignedOut(path, NOON + MONTH + 1)


def test_it_is_over_though_it_cannot_be_written(
    path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """For as long as the pages run; the log names the file."""
    over = SignedOut(path / "nowhere", NOON)
    with caplog.at_level(logging.ERROR):
        over.add("mio's", NOON, NOON + MONTH)
    assert "mio's" in over and str(path) in caplog.text


@pytest.mark.parametrize("held", [b"no list of visits\n", b"\xff\xfe", b"half-a-li"])
def test_a_file_that_is_none_of_ours_is_told(
    path: Path, held: bytes, caplog: pytest.LogCaptureFixture
) -> None:
    """And the pages begin all the same."""
    path.write_bytes(held)
    with caplog.at_level(logging.ERROR):
        over = SignedOut(path, NOON)
    assert str(path) in caplog.text
    over.add("mio's", NOON, NOON + MONTH)
    assert "mio's" in SignedOut(path, NOON)
