"""What is told where readings are no longer there in full."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from kuraban.core.texts.translator import Speech
from kuraban.store.history import SLACK, History


def kept(
    history: History, probes: Iterable[str], start: float, end: float, speech: Speech
) -> Iterator[str]:
    """A sentence for each length of step to which readings of a span were summarised.

    JournalError where the journal cannot be read.
    """
    for short in history.shortened(probes, start, end):
        yield speech.say(short.key, date=speech.date(short.last))


def not_retold(history: History, since: float | None, speech: Speech) -> str | None:
    """What a recording made from the journal lacks, None where it has everything."""
    whole = history.whole_from()
    if whole is None or (since is not None and since >= whole):
        return None
    return speech.say("kept.recording", date=speech.date(whole - SLACK))
