"""What the journal of a season says at its end, and what the phones heard of it."""

from __future__ import annotations

import sqlite3
from collections import Counter
from contextlib import closing
from itertools import pairwise

from kuraban.core.effects import Message
from kuraban.core.units import HOUR, MINUTE
from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests.simulation import model
from tests.simulation.brewery import EVERY, START
from tests.simulation.season import Season

SLOWEST = 4 * MINUTE
"""What a lazy machine and a turn may take."""


class Told:
    """What the journal says at the end."""

    def __init__(self, season: Season) -> None:
        self.faults = self._faults(season)
        with closing(History(season.journal)) as history:
            self.before = list(history.steps(0, season.began))
            self.steps = list(history.steps(season.began, 9e12))
            self.messages = list(history.messages(season.began, 9e12))
            self.left = list(history.messages(0, season.began))
            self.entries = {logged.key for logged in history.entries(None, 0, 9e12)}
            self.facts = [fact for _, fact in history.facts_after()]
            self.now = history.now() or 0.0
            self.first = {told.logged.key for told in history.first_fates(0.0)}
        with closing(sqlite3.connect(season.journal)) as db:
            self.refused = int(db.execute("SELECT total(total) FROM refusal_count").fetchone()[0])
            select = "SELECT at, max(at) OVER (ORDER BY seq) FROM step WHERE at >= ?"
            rows = db.execute(select, (season.began,)).fetchall()
            self.late = {at: latest for at, latest in rows if at < latest}
            """Moments under which a step stands behind later ones, and how late it was by then."""
            self.values: dict[str, Counter[float]] = {probe: Counter() for probe in EVERY}
            select = "SELECT probe.id, value FROM reading JOIN probe ON number = probe"
            for probe, value in db.execute(
                f"{select} WHERE coalesce(received, at) >= ?", (season.began,)
            ):
                self.values[probe][round(value, 6)] += 1

    @staticmethod
    def _faults(season: Season) -> list[str]:
        with closing(Journal.open(season.journal)) as journal:
            return [str(fault) for fault in journal.verify()]


def at(moment: float) -> str:
    return f"{(moment - START) / HOUR:.3f} h"


def thing(alarm: str) -> tuple[str, str]:
    subject, _, condition = alarm.partition("/")
    return subject, model.SIDES.get(condition, condition)


def off_times(season: Season) -> list[tuple[float, float]]:
    """When the watch did not watch, or slept, or forgot afterwards what it had judged."""
    found = [*season.forgotten]
    before = season.began
    for life in season.lives:
        ready = life.ready if life.ready is not None else life.ended or season.end
        found.append((before, ready))
        before = life.ended or season.end
        for one, two in pairwise((*life.petted, before)):
            if two - one > SLOWEST:
                found.append((one, two))
    return found


def heard_of(season: Season, told: Told) -> list[tuple[float, str, set[str], bool]]:
    """When whom a phone told of which alarms, and whether it rang: by the journal, or by a memory
    that nobody could write down before it was lost."""
    alarms: dict[tuple[str, str], list[Message]] = {}
    spoken = [event for turn in season.turns for event in turn.story if isinstance(event, Message)]
    for message in (*told.messages, *spoken):
        alarms.setdefault((message.person, message.title), []).append(message)
    found = []
    for rung in season.phones.rung:
        for message in alarms.get((rung.person, rung.title), ()):
            if rung.body.startswith(message.body):
                found.append((rung.at, rung.person, set(message.alarms), rung.urgent))
                break
    return found
