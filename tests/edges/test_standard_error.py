"""What goes to standard error can be sorted by grade; an exit status says whose fault it was."""

from __future__ import annotations

import logging

import pytest

from kuraban.edges import standard_error
from kuraban.errors import (
    BrokerError,
    ConfigurationError,
    ImpossibleTransition,
    JournalError,
    RecordingError,
)


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (ConfigurationError([]), 2),
        (RecordingError("night.jsonl: cannot be read"), 2),
        (JournalError("no journal"), 3),
        (BrokerError("nobody listens"), 1),
        (ImpossibleTransition("a bug"), 1),
    ],
)
def test_an_error_has_its_exit_status(error: Exception, status: int) -> None:
    assert standard_error.status_of(error) == status  # type: ignore[arg-type]


def test_under_systemd_each_line_says_how_grave_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    """Its journal adds the time itself."""
    log = logging.getLogger("kuraban")
    before = log.handlers, log.level, log.propagate
    try:
        standard_error.log_lines(supervised=True)
        log.error("the disk is full")
        log.warning("nobody listens\nthere")
        standard_error.log_lines(supervised=False)
        log.info("watching")
    finally:
        log.handlers, log.propagate = before[0], before[2]
        log.setLevel(before[1])
    lines = capsys.readouterr().err.splitlines()
    assert lines[:3] == ["<3>the disk is full", "<4>nobody listens", "<4>there"]
    assert lines[3].endswith(" watching") and lines[3][2] == ":"
