"""What is told where readings are no longer there in full."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from kuraban.core.phrases import Speech
from kuraban.store.history import History
from kuraban.store.summary import MINUTES

SLACK = 1.0
"""Taken from the end of a span, so that a whole day's end is told as that day."""


def kept(
    history: History, probes: Iterable[str], start: float, end: float, speech: Speech
) -> Iterator[str]:
    """A sentence for each length of step to which readings of a span were summarised.

    JournalError where the journal cannot be read.
    """
    for short in history.shortened(probes, start, end):
        key = "kept.minute" if short.grain == MINUTES else "kept.ten"
        yield speech.say(key, date=speech.date(short.until - SLACK))


def not_retold(history: History, since: float | None, speech: Speech) -> str | None:
    """What a recording made from the journal lacks, None where it has everything."""
    whole = history.whole_from()
    if whole is None or (since is not None and since >= whole):
        return None
    return speech.say("kept.recording", date=speech.date(whole - SLACK))
