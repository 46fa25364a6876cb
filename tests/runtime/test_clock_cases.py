"""The whole watch, a real broker and a real phone service, while somebody sets the wall clock."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from functools import cache
from pathlib import Path

import msgspec
import pytest

from kuraban.clock import Clock, elapsed
from kuraban.core.effects import Message, Step
from kuraban.core.engine.engine import Engine
from kuraban.core.units import DAY, HOUR, MINUTE, show_time
from kuraban.recording import Recorded
from kuraban.runtime.watch import JOURNAL, Watch
from kuraban.settings import Settings
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests.broker import Mosquitto
from tests.core.house import words
from tests.nights import QUICK, Evening, Heard, Publisher, Running, dated, messages, settings, wait
from tests.sink import Sink
from tests.test_kills import PLAN, RATE, START

DRIFT_LEAVES = 7.0 * HOUR
"""Seconds into `slow-drift` at which tank 2 is out of its tolerance and its delay runs."""
CLOCK = "watch/clock-wrong"
CASES = {
    "an hour back": -HOUR, "nine hours back": -9 * HOUR, "three days back": -3 * DAY,
    "an hour forward": HOUR, "three days forward": 3 * DAY,
}  # fmt: skip
STEPS = pytest.mark.parametrize("by", CASES.values(), ids=CASES)

Told = list[Step | Message]


def tank() -> list[Recorded]:
    """Tank 2 as it drifts, and who stirs it, up to an hour after it is told."""
    lines = messages("slow-drift")
    near = [line for line in lines if line.topic.endswith(("/tank-2", "/t2-mid", "/t2-valve"))]
    return [line for line in near if line.at < lines[0].at + 9 * HOUR]


def of_alarms(told: Told) -> list[tuple[float, str, str]]:
    """Every step and page but those of the clock itself; the words of the day follow the clock."""
    return [
        (event.at, event.step, event.alarm if isinstance(event, Step) else event.person)
        for event in told
        if (event.alarm != CLOCK if isinstance(event, Step) else event.step == "page")
        and not (isinstance(event, Message) and event.alarms == (CLOCK,))
    ]


def alike(told: Told, expected: Told, own: bool) -> None:
    """To the second where each reading brings its time. What brings none is dated when it comes,
    and a test's clock that jumps from minute to minute dates it now so and now so."""
    found, wanted = of_alarms(told), of_alarms(expected)
    if own:
        assert found == wanted
    assert Counter(one[1:] for one in found) == Counter(one[1:] for one in wanted)
    leaves = [
        next(one[0] for one in events if one[2] == "tank-2/warm") for events in (found, wanted)
    ]
    assert abs(leaves[0] - leaves[1]) <= MINUTE


def of_the_clock(told: Told) -> list[str]:
    return [e.step for e in told if isinstance(e, Step) and e.alarm == CLOCK] + [
        e.person for e in told if isinstance(e, Message) and CLOCK in e.alarms
    ]


@pytest.fixture(scope="module")
def unbroken(tmp_path_factory: pytest.TempPathFactory) -> Callable[[bool], Told]:
    """What the same night tells while nobody sets a clock, with readings of their own time or none;
    lived through once for each."""

    @cache
    def lived(own: bool) -> Told:
        folder, lines = tmp_path_factory.mktemp("unbroken"), dated(tank()) if own else tank()
        with (
            Mosquitto(folder, without=QUICK) as broker, Sink() as sink,
            closing(Evening(broker, sink, folder / "data", lines[0].at)) as calm,
        ):  # fmt: skip
            with calm.watching() as watch:
                calm.play(watch, lines)
                calm.catch_up(watch)
            return calm.told

    return lived


def again(data: Path) -> Told:
    """What one engine that lives through the whole journal tells."""
    journal, engine = Journal.open(data / JOURNAL), Engine(words())
    assert journal.verify() == []
    for fact in journal.facts_after():
        engine.take(fact)
    engine.wake(journal.now() or 0.0)
    journal.close()
    return engine.drain().story


@STEPS
@pytest.mark.parametrize("own", [True, False], ids=["own times", "no times"])
def test_a_step_in_the_middle_of_a_delay_delays_no_page(
    evening: Callable[..., Evening], unbroken: Callable[[bool], Told], tmp_path: Path,
    by: float, own: bool,
) -> None:  # fmt: skip
    """The same alarms to the same people at the same moments; maintenance hears of the clock once.

    And the journal gives the same again.
    """
    lines = dated(tank()) if own else tank()
    begin = lines[0].at
    early = [line for line in lines if line.at < begin + DRIFT_LEAVES]
    tonight = evening(begin)
    with tonight.watching() as watch:
        tonight.play(watch, early)
        tonight.catch_up(watch)
        tonight.clock.wrong = by
        wait(lambda: watch.engine.clock != ())
        tonight.play(watch, lines[len(early) :])
        tonight.catch_up(watch)
    expected = unbroken(own)
    alike(tonight.told, expected, own)
    assert of_the_clock(tonight.told) == ["raised", "returned", "ken"]
    told = [(e.at, e.text) for e in tonight.told]
    assert sorted(told) == sorted((e.at, e.text) for e in again(tmp_path / "data"))


@pytest.mark.parametrize("own", [True, False], ids=["own times", "no times"])
def test_a_restart_while_the_clock_is_wrong_forgets_nothing(
    evening: Callable[..., Evening], unbroken: Callable[[bool], Told], own: bool
) -> None:
    """Set wrong, stopped, started, put right: each in the middle of one delay."""
    lines = dated(tank()) if own else tank()
    begin = lines[0].at
    thirds = [[line for line in lines if low <= line.at - begin < high] for low, high in (
        (0.0, DRIFT_LEAVES), (DRIFT_LEAVES, DRIFT_LEAVES + 1200.0), (DRIFT_LEAVES + 1200.0, DAY),
    )]  # fmt: skip
    tonight = evening(begin)
    with tonight.watching() as watch:
        tonight.play(watch, thirds[0])
        tonight.catch_up(watch)
        tonight.clock.wrong = -9 * HOUR
        wait(lambda: watch.engine.clock != ())
    with tonight.watching() as watch:
        tonight.play(watch, thirds[1])
        tonight.catch_up(watch)
        tonight.clock.wrong = 0.0
        wait(lambda: watch.engine.clock[-1].ahead == 0.0)
        tonight.play(watch, thirds[2])
        tonight.catch_up(watch)
    expected = unbroken(own)
    alike(tonight.told, expected, own)
    assert of_the_clock(tonight.told) == ["raised", "returned", "ken"]


def test_a_board_that_boots_days_in_the_past_watches_on(
    evening: Callable[..., Evening], tmp_path: Path
) -> None:
    """No battery on its clock: the watch goes on from the journal's end, and when it reaches a time
    server it knows for how long nobody watched. Then all is as with a clock that was right."""
    lines, off = dated(tank()), 20 * MINUTE
    begin = lines[0].at

    def night(data: Path, wakes_up: float) -> Told:
        tonight = evening(begin, data)
        with tonight.watching() as watch:
            tonight.play(watch, [line for line in lines if line.at < begin + DRIFT_LEAVES])
            tonight.catch_up(watch)
        moment = tonight.clock.moment
        if wakes_up:
            tonight.clock.wrong = wakes_up
        else:
            tonight.clock.moment += off
        with tonight.watching() as watch:
            if wakes_up:
                tonight.catch_up(watch)
                assert watch.engine.now < moment + MINUTE, "it goes on from the journal's end"
                tonight.clock.wrong = off
            wait(lambda: watch.engine.now >= moment + off)
            tonight.play(watch, [line for line in lines if line.at > moment + off])
            tonight.catch_up(watch)
            assert watch.clock.ahead == 0.0
        return tonight.told

    told = night(tmp_path / "past", -3 * DAY)
    right = night(tmp_path / "right", 0.0)
    alike(told, right, own=False)
    assert of_the_clock(told) == ["raised", "returned", "ken"]
    back = [e.title for e in told if isinstance(e, Message) and not e.alarms]
    assert sum(title.startswith(("Readings are back", "測定値が戻った")) for title in back) == 2


def test_others_see_the_wall_clocks_time(
    evening: Callable[..., Evening], broker: Mosquitto
) -> None:
    """At the broker an alarm stands with the time that a clock on the wall would show."""
    lines = tank()
    tonight = evening(lines[0].at)
    with Heard(broker.port) as heard, tonight.watching() as watch:
        tonight.play(watch, lines[:20])
        tonight.catch_up(watch)
        tonight.clock.wrong = -9 * HOUR
        wait(lambda: watch.engine.clock != ())
        tonight.play(watch, lines[20:])
        tonight.catch_up(watch)
        wait(lambda: '"raised"' in heard.last.get("kura/watch/alarm/tank-2/warm", ""))
        told = heard.last["kura/watch/alarm/tank-2/warm"]
    (raised,) = (e for e in tonight.told if isinstance(e, Step) and e.alarm == "tank-2/warm")
    zone = tonight.settings.house.zone
    assert f'"{show_time(raised.at - 9 * HOUR, zone)}"' in told


# At hurried time, with nothing led by the test but the wall clock.

SPEED = 480.0
LASTS = 2.0
"""Hours of the brewery; the drift is past its limit, and told, after 1.7."""


class WallOfItsOwn(Clock):
    """A hurried clock beside a wall clock that a test sets, by hours since the start."""

    wrong: tuple[tuple[float, float], ...] = ()

    def shown(self, real: float) -> float:
        shown = super().shown(real)
        return shown + sum(by for hour, by in self.wrong if shown >= START + hour * HOUR)


def one_tank(whole: Settings) -> Settings:
    """The house with one tank and its probe: what is told is of them or of the watch."""
    tank = msgspec.structs.replace(whole.house.place["tank-2"], room=None, cooler=None)
    probes = whole.house.probes_of("tank-2", "product")
    house = msgspec.structs.replace(whole.house, places=(tank,), coolers=(), probes=probes)
    return replace(whole, house=house)


def value_at(at: float) -> float:
    return round(PLAN + RATE * max(at - START - 0.1 * HOUR, 0.0) / HOUR, 4)


def expected_at(watch: Watch) -> float:
    """When an engine that hears of no clock tells of the drift."""
    engine, told = Engine(words()), 0.0
    journal = Journal.open(watch.settings.data / JOURNAL)
    for fact in journal.facts_after():
        if type(fact).__name__ != "ClockStepped":
            engine.take(fact)
    journal.close()
    for event in engine.drain().story:
        if isinstance(event, Step) and event.alarm == "tank-2/far-warm" and not told:
            told = event.at
    return told


def read_by(journal: Path) -> int:
    """Readings of the tank that stand in the journal."""
    history = History(journal)
    kept = len(list(history.readings("t2-mid", 0, 1e12)))
    history.close()
    return kept


@pytest.mark.slow
@pytest.mark.timeout(120)
@pytest.mark.parametrize(
    ("wrong", "own"),
    [
        (((1.5, -HOUR),), True), (((1.5, -9 * HOUR),), False), (((1.5, -9 * HOUR),), True),
        (((1.5, HOUR), (1.65, -HOUR)), True), (((1.5, HOUR),), False), (((0.3, 3 * DAY),), True),
    ],
    ids=[
        "an hour back", "nine hours back, no times", "nine hours back",
        "an hour forward and back", "an hour forward, no times", "three days forward",
    ],
)  # fmt: skip
def test_in_a_hurried_night_nothing_false_is_told_and_the_drift_in_time(
    broker: Mosquitto, sink: Sink, tmp_path: Path, wrong: tuple[tuple[float, float], ...], own: bool
) -> None:
    clock = WallOfItsOwn(SPEED, START, elapsed())
    clock.wrong = wrong
    told: Told = []
    watch = Watch(
        one_tank(settings(broker, sink, tmp_path / "data")), load_words(), clock=clock,
        on_turn=lambda turn: told.extend(turn.story),
    )  # fmt: skip
    running, publisher = Running(watch), Publisher(broker.port)
    try:
        wait(lambda: watch._door.connected or running.error is not None, 60)
        since = show_time(START - 10 * DAY, watch.settings.house.zone)
        start = f'{{"entry":"batch-start","batch":"2","course":"night-ordinary","since":"{since}",'
        publisher.publish("kura/log/tank-2", f'{start}"stage":"moromi"}}')
        at = clock.of(elapsed())
        while at < START + LASTS * HOUR:
            wait(lambda at=at: clock.of(elapsed()) >= at)  # type: ignore[misc]
            payload = f'{{"value": {value_at(at)}, "at": {at}}}' if own else f"{value_at(at)}"
            publisher.publish("kura/reading/t2-mid", payload)
            at += 30.0
        publisher.flush()
        journal = tmp_path / "data" / JOURNAL
        wait(lambda: read_by(journal) == publisher.sent - 1, 60)
    finally:
        publisher.close()
        running.stop()
    pages = [e for e in told if isinstance(e, Message) and e.step == "page"]
    rung = {alarm for page in pages for alarm in page.alarms}
    assert rung - {"tank-2/warm"} == {"tank-2/far-warm", CLOCK}
    raised = [e.at for e in told if isinstance(e, Step) and e.alarm == "tank-2/far-warm"]
    assert abs(raised[0] - expected_at(watch)) <= MINUTE
    assert [page.person for page in pages if CLOCK in page.alarms] == ["ken"]
