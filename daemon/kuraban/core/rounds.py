"""The two words of the day: in the evening whether the night will be quiet, in the morning how it
was. Each goes out at the hour that the site names, and only where something is judged."""

from __future__ import annotations

from typing import Literal

from kuraban.core import reports, wording
from kuraban.core.agenda import Agenda
from kuraban.core.board import Board
from kuraban.core.conditions import BREWER, CONDITIONS, MAINTENANCE
from kuraban.core.effects import Message, Step
from kuraban.core.teller import Teller
from kuraban.core.units import next_clock
from kuraban.core.world import World


class Rounds:
    def __init__(self, world: World, board: Board, teller: Teller, agenda: Agenda) -> None:
        self._world, self._board, self._teller, self._agenda = world, board, teller, agenda
        self.night: list[Step | Message] = []
        """What was told since the evening, as far as it was drained."""
        self._night_since = 0.0

    def begin(self, now: float) -> None:
        self._await("morning", now)
        self._await("evening", now)

    def _await(self, name: Literal["morning", "evening"], now: float) -> None:
        house = self._world.house
        clock = house.site.evening if name == "evening" else house.site.day_starts
        self._agenda.add(next_clock(now, clock, house.zone), name)

    def evening(self, now: float) -> None:
        self._await("evening", now)
        world, teller = self._world, self._teller
        self._night_since = now
        self.night = [event for event in self.night if event.at > now]
        if reports.month_begins(world.house, now):
            old = reports.old_ice_points(world.house, now)
            teller.notice(MAINTENANCE, now, lambda *tongue: wording.monthly(now, old, *tongue))
        if reports.evening_due(world, now):
            word = reports.evening_word(world, now)
            teller.notice(BREWER, now, lambda *tongue: wording.evening(word, *tongue))

    def morning(self, now: float) -> None:
        self._await("morning", now)
        world, teller = self._world, self._teller
        waiting, teller.waiting = teller.waiting, []
        if not reports.anything_judged(world, now) and not waiting:
            return
        night = [e for e in (*self.night, *teller.story) if e.at >= self._night_since]
        report = reports.morning_report(world, self._board, night, waiting, now)
        roles = {CONDITIONS[condition].role for _, condition in waiting} - {BREWER}
        for role in (BREWER, *sorted(roles)):
            teller.notice(
                role, now, lambda *tongue: wording.morning(report, *tongue),
                asks=lambda *tongue: wording.asks(report, *tongue),
            )  # fmt: skip
