"""Entries late, twice, taken back and amended in any order: as a second, slow telling has them."""

from __future__ import annotations

from typing import Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from kuraban.core.facts import EntryOutcome
from kuraban.core.units import show_duration
from tests.core.entries_model import HOUR, MINUTE, TANKS, Entries, Said, Tank, disturbed_until
from tests.core.house import DUSK, MASH, Bell

tanks = st.sampled_from(TANKS)
late = st.integers(0, 300).map(lambda minutes: minutes * MINUTE)
said_before = st.integers(1, 12)
"""How many entries ago."""
KINDS: dict[str, st.SearchStrategy[dict[str, Any]]] = {
    "batch-start": st.fixed_dictionaries(
        {"batch": st.sampled_from(["7", "8"]), "course": st.just("mash")},
        optional={"stage": st.sampled_from(["naka", "tome"])},
    ),
    "batch-end": st.just({}),
    "stage": st.sampled_from([{"stage": "tome"}, {"stage": "main"}]),
    "hold": st.sampled_from([{"for": 24 * HOUR}, {"for": 48 * HOUR}]),
    "let-run": st.sampled_from([{"for": 2 * HOUR, "more": 0.3}, {"for": 12 * HOUR, "more": 1.0}]),
    "stir": st.sampled_from([{}, {"for": 40 * MINUTE}]),
    "addition": st.sampled_from([{"what": "rice"}, {"what": "water-koji"}, {"what": "ice"}]),
    "check": st.sampled_from([{"celsius": 9.5}, {"celsius": 10.5}]),
    "out-of-service": st.just({}),
    "in-service": st.just({}),
    "move": st.just({}),
}
CHANGES: dict[str, list[dict[str, Any]]] = {
    "batch-start": [{"batch": "9"}, {"stage": "tome"}, {"title": "first pressing"}],
    "stage": [{"stage": "main"}, {"stage": "tome"}, {"stage": "none-such"}],
    "hold": [{"for": 72 * HOUR}],
    "let-run": [{"more": 0.5}, {"for": 3 * HOUR}, {"for": 13 * HOUR}],
    "stir": [{"for": 60 * MINUTE}],
    "addition": [{"what": "ice"}, {"what": "rice"}, {"kg": 20.0}],
    "check": [{"celsius": 11.0}],
}
"""What is put right of each: sometimes so that it fits no more, or never could."""


def stands(outcome: EntryOutcome) -> tuple[object, ...]:
    """What an outcome says, whenever it was decided."""
    return outcome.fate, outcome.cause, outcome.reason, outcome.entry


class SecondTelling(RuleBasedStateMachine):
    """A night with the brewer at every button, and its second telling."""

    def __init__(self) -> None:
        super().__init__()
        self.night, self.model = Bell(), Entries()
        self.said: list[Said] = []

    def _say(self, tank: str, kind: str, ago: float, **fields: Any) -> None:
        number = len(self.said)
        self._again(Said(number, f"x{number}", tank, kind, self.night.now - ago, fields))

    def _again(self, said: Said) -> None:
        self.said.append(said)
        self.model.say(said)
        spelled = {
            name: show_duration(value) if name == "for" else value
            for name, value in said.fields.items()
        }
        self.night.log(said.tank, said.kind, id=said.id, at=said.at, who="aki", **spelled)

    @rule(tank=tanks, ago=late, told=st.sampled_from(sorted(KINDS)).flatmap(
        lambda kind: st.tuples(st.just(kind), KINDS[kind])))  # fmt: skip
    def somebody_logs(self, tank: str, ago: float, told: tuple[str, dict[str, Any]]) -> None:
        kind, fields = told
        other = TANKS[1 - TANKS.index(tank)]
        self._say(tank, kind, ago, **fields, **({"to": other} if kind == "move" else {}))

    @rule(minutes=st.integers(1, 120))
    def time_passes(self, minutes: int) -> None:
        self.night.on(minutes)

    @rule(back=said_before, ago=late)
    def somebody_takes_it_back(self, back: int, ago: float) -> None:
        of = self.said[-back] if back <= len(self.said) else None
        self._say(TANKS[0] if of is None else of.tank, "take-back", ago,
                  of="nothing" if of is None else of.id)  # fmt: skip

    @rule(back=said_before, ago=late, which=st.integers(0, 2))
    def somebody_puts_it_right(self, back: int, ago: float, which: int) -> None:
        of = self.said[-back] if back <= len(self.said) else None
        if of is None or of.kind not in (*CHANGES, "take-back", "amend"):
            return
        changes = CHANGES.get(of.kind, [{}])
        self._say(of.tank, "amend", ago, of=of.id, **changes[which % len(changes)])

    @rule(back=said_before)
    def the_broker_tells_it_again(self, back: int) -> None:
        if back <= len(self.said):
            self._again(self.said[-back])

    @rule()
    def the_house_is_read_anew(self) -> None:
        self.night.change(self.night.house)

    @invariant()
    def each_entry_stands_alike(self) -> None:
        told: dict[str, EntryOutcome] = {}
        for fact in self.night.facts:
            if isinstance(fact, EntryOutcome):
                before = told.get(fact.id)
                assert before is None or stands(before) != stands(fact), "told twice"
                told[fact.id] = fact
        assert {entry: outcome.fate for entry, outcome in told.items()} == self.model.fates

    @invariant()
    def the_tanks_are_alike(self) -> None:
        log = self.night.engine.view.entry_log
        for name, tank in self.model.tanks().items():
            state = log.of(name)
            batch = None if state.batch is None else state.batch.name
            assert batch == tank.batch
            assert self._marks(name) == tank.marks
            assert (state.last_stir, state.check) == (tank.stir, tank.check)
            assert (name in log.out) == tank.out
            run = state.let_run
            assert (None if run is None else (run.start, run.until, run.more)) == tank.let_run
            self._disturbed_alike(name, tank)

    def _marks(self, name: str) -> list[tuple[str, float, float]]:
        batch = self.night.engine.view.entry_log.of(name).batch
        if batch is None:
            return []
        return [(MASH.stages[mark.stage].id, mark.since, mark.hold) for mark in batch.marks]

    def _disturbed_alike(self, name: str, tank: Tank) -> None:
        state = self.night.engine.view.entry_log.of(name)
        for moment in (self.night.now, self.night.now - HOUR, self.night.now - 3 * HOUR, DUSK):
            assert state.masked(moment) == disturbed_until(tank, moment)


TestSecondTelling = SecondTelling.TestCase
TestSecondTelling.settings = settings(max_examples=80, stateful_step_count=25, deadline=None)
