"""Several variants of a house over the same messages, each in a process of its own.

What one variant tells rests on no other, so each reads the messages for itself and is played by
itself: the same bytes, whatever the number of processes. Where there is little to play, or one
core, they are played one after the other in this process.
"""

from __future__ import annotations

import ctypes
import math
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from multiprocessing import get_context
from typing import Protocol

from kuraban.core.site import House
from kuraban.core.texts.messages import Words
from kuraban.recording import BadLine, BadLines, Recorded
from kuraban.rehearse.altered_settings import Change
from kuraban.rehearse.play import Night, Rehearsal, compared, play

LITTLE = 5_000_000
"""Bytes up to which a process of its own takes longer to begin than to play them."""
TOLD_EVERY = 0.2
"""s between two looks at how far the processes are."""

Passed = Callable[[int], None]


class Source(Protocol):
    """Where the messages come from, read once for each variant, in its process: it is pickled."""

    def size(self) -> int:
        """Bytes, about."""

    def messages(self, bad: Callable[[BadLine], None], passed: Passed) -> Iterator[Recorded]: ...


def rehearse(
    house: House,
    root: str,
    words: Words,
    source: Source,
    variants: Sequence[Sequence[Change]],
    *,
    since: float = -math.inf,
    until: float | None = None,
    passed: Passed = lambda count: None,
    bad: Callable[[BadLine], None] = lambda line: None,
) -> Iterator[Rehearsal]:
    """Each variant beside the house as it is, in their order, as soon as it is played.

    What was told before `since` does not count; `until` stops the playing, or runs the clock on.
    """
    one = partial(_played, house, root, words, source, until)
    jobs = ((), *variants)
    cores = min(os.cpu_count() or 1, len(jobs))
    alone = cores == 1 or source.size() < LITTLE
    nights = (one(job, passed) for job in jobs) if alone else _at_once(one, jobs, cores, passed)
    was = next(nights)
    for line in was.bad:
        bad(line)
    for other in nights:
        yield compared(house, was, other, since)


def _played(
    house: House, root: str, words: Words, source: Source, until: float | None,
    changes: Sequence[Change], passed: Passed,
) -> Night:  # fmt: skip
    found = BadLines()
    night = play(house, root, words, source.messages(found.add, passed), changes, until=until)
    return night._replace(bad=tuple(found.first))


One = Callable[[Sequence[Change], Passed], Night]


def _at_once(
    one: One, jobs: Sequence[Sequence[Change]], processes: int, passed: Passed
) -> Iterator[Night]:
    """What each job comes to, in their order; whoever stops asking ends the processes."""
    context = get_context("spawn")
    read = context.RawArray(ctypes.c_longlong, len(jobs))
    told = 0
    with context.Pool(processes, _begin, (read,)) as pool:
        waiting = [pool.apply_async(_job, (one, *job)) for job in enumerate(jobs)]
        for night in waiting:
            while not night.ready():
                night.wait(TOLD_EVERY)
                now = sum(read)
                passed(now - told)
                told = now
            yield night.get()


_read: ctypes.Array[ctypes.c_longlong]


def _begin(read: ctypes.Array[ctypes.c_longlong]) -> None:
    """In a process: who stops the command stops it in the first process, which ends this one."""
    global _read
    _read = read
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _job(one: One, number: int, changes: Sequence[Change]) -> Night:
    def passed(count: int) -> None:
        _read[number] += count

    return one(changes, passed)
