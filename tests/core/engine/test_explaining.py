"""What the watch answers when it is asked why: the very judgement, over every invented night."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest

from fixtures import timelines
from kuraban.core.effects import Step
from kuraban.core.engine.engine import Engine
from kuraban.core.engine.explaining import explain
from kuraban.core.site import WATCH
from kuraban.core.views.explanation import Judged
from kuraban.queries.snapshot import Painter
from kuraban.replay import Player
from kuraban.runtime.checkpoint.document import engine_in, freeze, read
from kuraban.settings import load
from kuraban.settings.catalogues import load_words
from tests.nights import SITE, messages

WORDS = load_words()
HOUSE = load(SITE, {}).house
SUBJECTS = [WATCH, *HOUSE.place, *HOUSE.cooler, *HOUSE.probe]
MOMENTS = 4
"""At which a night is asked about everything."""


def twin(engine: Engine) -> Engine:
    """An engine of one's own to ask, as whoever asks has."""
    kept = freeze(engine)
    assert kept is not None
    return engine_in(read(kept.blob), WORDS)


def played(night: str) -> Iterator[tuple[Engine, list[Step], bool]]:
    """The night's engine after each deadline and each message, what it raised, and whether this is
    one of the moments."""
    player, lines = Player(HOUSE, "kura", WORDS), messages(night)
    chosen = range(len(lines) // 10, len(lines))
    asked = set(random.Random(night).sample(chosen, MOMENTS))
    for number, line in enumerate(lines):
        if player.begun:
            player.engine.wake(line.at)
            yield player.engine, raised(player), False
        player.play(line)
        yield player.engine, raised(player), number in asked


def raised(player: Player) -> list[Step]:
    return [one for one in player.story() if isinstance(one, Step) and one.step == "raised"]


def judged(engine: Engine, subject: str) -> dict[str, Judged]:
    return {one.account.condition: one for one in explain(engine, subject).judged}


@pytest.mark.parametrize("night", timelines.names())
def test_what_rings_says_so_and_what_is_quiet_says_what_is_lacking(night: str) -> None:
    """At every raise the judgement finds nothing lacking; whatever does not stand lacks something,
    and the value, the plan and the alarms are those of the board."""
    for engine, steps, asked in played(night):
        if not (steps or asked):
            continue
        own = twin(engine)
        for step in steps:
            told = judged(own, step.subject)[step.condition]
            assert told.account.stands, step
            assert not told.account.lacks, (step, told)
            assert told.hand in ("rings", "listed", "in-hand", "shelved", "suppressed"), (
                step,
                told,
            )
        if asked:
            _agrees_with_the_board(own)


def _agrees_with_the_board(engine: Engine) -> None:
    shown = Painter(WORDS).snapshot(twin(engine))
    assert shown is not None
    rings = {(ring.subject, ring.condition) for ring in shown.rings}
    for subject in SUBJECTS:
        found = explain(engine, subject)
        known = {one.key: one for one in found.known}
        place = shown.place(subject)
        if place is not None and place.brews and "product" in known:
            assert known["product"].value == place.product
        if place is not None and place.planned is not None:
            assert known["plan"].value == pytest.approx(place.planned, abs=1e-6)
        for one in found.judged:
            assert one.account.stands or one.account.lacks, (subject, one)
            listed = one.hand not in ("waits", "quiet")
            assert listed is ((subject, one.account.condition) in rings), (subject, one)


def told_at(night: str, alarm: str) -> Engine:
    """The engine as it raises that alarm."""
    return next(engine for engine, steps, _ in played(night) if alarm in {s.alarm for s in steps})


def test_the_delay_spent_is_told_while_it_runs() -> None:
    """Tank 2 is outside and not yet told: since when, how much is spent, and when it will ring."""
    rung = told_at("slow-drift", "tank-2/warm").now
    half_way = next(one for one, _, _ in played("slow-drift") if one.now >= rung - 1800)
    warm = judged(twin(half_way), "tank-2")["warm"]
    assert warm.hand == "waits"
    assert warm.account.delay is not None and warm.account.delay.due is not None
    assert warm.account.delay.due == pytest.approx(rung, abs=300)
    assert warm.account.delay.left == pytest.approx(1800, abs=300)
    assert [one.key for one in warm.account.lacks] == ["runs-out"]


def test_a_doubted_probe_says_why_its_tank_is_not_judged_by_it() -> None:
    known = explain(twin(told_at("probe-out", "t4-mid/displaced")), "tank-4").known
    doubted = [(one.name, one.word) for one in known if one.key == "doubted"]
    assert doubted == [("t4-mid", "displaced")]
