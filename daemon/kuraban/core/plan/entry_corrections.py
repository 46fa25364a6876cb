"""Which entries stand taken back, and which say something else by now.

A correction is an entry that names another. One that is itself taken back corrects nothing, so
they are worked out from the newest to the oldest: whatever could take a correction back was told
after it. Amendments of one entry build on each other in the order of their own times.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

import msgspec

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.plan.subject_state import Refused
from kuraban.core.units import show_duration

Key = tuple[str, str]
CORRECTIONS = (e.TakeBack, e.Amend)


class Amended(NamedTuple):
    """An entry as it was amended, and the last that amended it."""

    entry: Logged
    by: Logged


class Corrected(NamedTuple):
    taken_back: dict[Key, Logged]
    """By the entry, what takes it back."""
    amended: dict[Key, Amended]


def corrected(log: Iterable[Logged], named: Mapping[Key, Logged]) -> Corrected:
    """How the corrections in a log leave the other entries.

    `log` is in the order of its entries' times. `named` is the entry that each correction names, in
    the order in which they were told. Raises Refused where an amendment makes nonsense.
    """
    log = [logged for logged in log if isinstance(logged.entry, CORRECTIONS)]
    known = {logged.key: logged for logged in log}
    taken_back: dict[Key, Logged] = {}
    for key, old in reversed(list(named.items())):
        correction = known[key]
        if key not in taken_back and isinstance(correction.entry, e.TakeBack):
            taken_back[old.key] = correction
    amended: dict[Key, Amended] = {}
    for correction in log:
        if isinstance(correction.entry, e.Amend) and correction.key not in taken_back:
            old = named[correction.key]
            before = amended[old.key].entry if old.key in amended else old
            amended[old.key] = Amended(_amend(before, correction.entry), correction)
    return Corrected(taken_back, amended)


def root(logged: Logged, named: Mapping[Key, Logged]) -> Logged:
    """The entry at which a chain of corrections ends; itself where it is no correction."""
    while logged.key in named:
        logged = named[logged.key]
    return logged


def _amend(old: Logged, change: e.Amend) -> Logged:
    fields = msgspec.to_builtins(old.entry, enc_hook=_spelled)
    try:
        entry = e.read_entry({**fields, **change.fields})
    except (msgspec.ValidationError, ValueError) as error:
        raise Refused(f"the amended {fields.get('entry')} would be wrong: {error}") from None
    return msgspec.structs.replace(old, entry=entry)


def _spelled(value: object) -> object:
    """A duration or a time as the wire writes it."""
    assert isinstance(value, float)
    return show_duration(value) if isinstance(value, e.Duration) else float(value)
