"""A second sign in the same hands, and whole random nights."""

from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
)

from kuraban.core.effects import Message
from kuraban.core.facts import Delivered
from kuraban.core.rota import has_duty
from kuraban.core.site import Duty
from kuraban.core.units import DAY, HOUR, MINUTE
from tests.core.house import DUSK, PEOPLE, Bell, brewery, brewing, moment, with_rota
from tests.core.ladder_model import Model, Told
from tests.core.night_kinds import KINDS, Kind
from tests.core.night_script import Script, play
from tests.core.rota import Swap

SEEDS = range(240)
NIGHT = moment("2026-02-02T02:00")


@pytest.mark.parametrize("back", ["unshelve", "in-service", "the chiller runs"])
def test_what_comes_back_rings_like_anything_new(back: str) -> None:
    """From a shelf, into service, or when nothing explains it any more."""
    bell = Bell(at=moment("2026-02-02T12:00"))
    trend = "trending-warm"
    if back == "unshelve":
        bell.log("tank-3", "shelve", condition=trend, for_="2h")
        bell.find("tank-3", trend)
    elif back == "in-service":
        bell.find("tank-3", trend)
        bell.log("tank-3", "out-of-service")
    else:
        bell.find("chiller-1", "stopped")
        bell.find("tank-3", trend)
    before = len(bell.pages("aki"))
    if back == "the chiller runs":
        bell.on(5).over("chiller-1", "stopped")
    else:
        bell.on(5).log("tank-3", back, **({"condition": trend} if back == "unshelve" else {}))
    assert len(bell.pages("aki")) == before + 1


@pytest.mark.parametrize("answered", ["not at all", "acknowledge", "shelve"])
def test_when_the_power_is_back_it_is_told_whoever_had_answered(answered: str) -> None:
    """And once, though somebody sees later that it returned."""
    bell = brewing(Bell(at=NIGHT))
    bell.find("watch", "dark")
    bell.on(5)
    if answered != "not at all":
        bell.log("watch", answered, condition="dark", for_="2h", by="ken")
    bell.on(20).over("watch", "dark")
    told = [word.person for word in bell.messages("notice") if word.at == bell.now]
    assert sorted(told) == ["aki", "ken"]
    bell.on(5).log("watch", "acknowledge", by="ken")
    assert not [word for word in bell.messages("notice") if word.at == bell.now]


@pytest.mark.parametrize("step", ["acknowledge", "shelve", "out-of-service"])
def test_whatever_quiets_an_alarm_takes_back_its_pages(step: str) -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    assert bell.in_hand() == []
    fields = {"condition": "warm", "for_": "2h"} if step == "shelve" else {}
    bell.log("tank-3", step, **fields)
    assert bell.in_hand()[0] == "tank-3/warm"


def test_a_page_that_names_a_graver_sign_in_hand_is_withdrawn_with_the_lesser() -> None:
    """In hand past its limit, it worsens as warm, and rings by the gravest that it stands for."""
    bell = Bell(at=NIGHT)
    bell.log("tank-3", "batch-start", batch="3", course="mash", stage="main")
    for name in ("far-warm", "warm"):
        bell.find("tank-3", name, worse=1.2)
    bell.on(2).log("tank-3", "acknowledge", by="aki")
    bell.on(30).find("tank-3", "warm", worse=1.4)
    assert bell.steps("tank-3/warm")[-1] == "realarmed"
    assert bell.pages()[-1].alarms == ("tank-3/far-warm",) and bell.pages()[-1].at == bell.now
    bell.withdrawn.clear()
    bell.on(2).log("tank-3", "acknowledge", by="aki")
    assert {"tank-3/far-warm", "tank-3/warm"} <= {*bell.in_hand()}


@pytest.mark.parametrize("over", ["returns", "acknowledge"])
def test_a_page_of_the_graver_sign_stands_for_the_lesser_that_rings_on(over: str) -> None:
    """Within its limit again the tank is still warm and nobody answered: who is being tried is to
    hear, until somebody has it or it is over."""
    bell = Bell(at=NIGHT)
    for name in ("warm", "far-warm"):
        bell.find("tank-3", name)
    bell.on(1).over("tank-3", "far-warm")
    assert bell.steps("tank-3/far-warm")[-1] == "returned" and bell.in_hand() == []
    if over == "returns":
        bell.on(1).over("tank-3", "warm")
    else:
        bell.on(1).log("tank-3", "acknowledge", by="aki")
    assert {"tank-3/far-warm", "tank-3/warm"} <= {*bell.in_hand()}


def joined(first: str = "cold", second: str = "overcooling") -> Bell:
    """A cold tank in Aki's hands, and twenty minutes later a second sign of the same."""
    bell = Bell()
    bell.log("tank-3", "batch-start", batch="3", course="mash", stage="main")
    bell.find("tank-3", first, worse=0.7)
    bell.on(4).log("tank-3", "acknowledge", condition=first, by="aki")
    bell.on(20).find("tank-3", second, worse=0.7)
    return bell


@pytest.mark.parametrize("order", [("cold", "overcooling"), ("overcooling", "cold")])
def test_a_second_sign_of_what_is_in_hand_is_in_the_same_hands(order: tuple[str, str]) -> None:
    """One cause, one page: whoever has it hears of it once, soundlessly, and nobody else does."""
    bell = joined(*order)
    alarm = f"tank-3/{order[1]}"
    assert bell.steps(alarm) == ["raised", "acknowledged"]
    assert bell.engine.alarm_manager.alarm("tank-3", order[1]).by == "aki"
    told = [(m.step, m.person) for m in bell.story if isinstance(m, Message) and alarm in m.alarms]
    assert told == [("notice", "aki")]
    bell.on(60)
    assert not [page for page in bell.pages() if alarm in page.alarms]


def test_a_second_sign_in_the_same_hands_has_the_same_promise() -> None:
    """A mash has three hours from when it was answered, and rings once if that is not kept."""
    bell = joined()
    bell.on(160)
    assert len(bell.pages()) == 2, "the first ring and the ring of the promise"
    bell.log("tank-3", "acknowledge", condition="cold", by="aki")
    assert bell.steps("tank-3/overcooling")[-2:] == ["realarmed", "acknowledged"]


def test_a_second_sign_that_gets_worse_rings_again() -> None:
    bell = joined()
    bell.on(10).find("tank-3", "overcooling", worse=0.9)
    assert bell.steps("tank-3/overcooling")[-1] == "realarmed"
    assert len(bell.pages()) == 2


def test_a_trend_that_joins_what_is_in_hand_is_not_told_at_all() -> None:
    bell = joined("cold", "trending-cold")
    assert bell.steps("tank-3/trending-cold") == ["raised", "acknowledged"]
    assert not [m for m in bell.story if isinstance(m, Message) and "trend" in m.title]
    assert len(bell.pages()) == 1


def told_as(message: Message) -> Told:
    """As the model notes it."""
    return round(message.at, 3), message.step, message.person, message.alarms


@pytest.mark.parametrize("seed", SEEDS)
def test_a_random_night_tells_whom_it_should_by_when_it_should(seed: int) -> None:
    """Against a model that knows the ladder as people would tell it, and nothing of the watch."""
    script = Script(seed)
    bell = Bell(script.house, at=script.start)
    model = Model(script.house)
    for event in script.events:
        bell.wake(event.at)
        if event.what == "answers":
            bell.log(event.subject, "acknowledge", by=event.who)
        else:
            bell.find(event.subject, event.condition, event.what == "rises")
        play(model, event)
    bell.wake(script.end)
    told = [
        told_as(message)
        for message in bell.story
        if isinstance(message, Message) and message.alarms
    ]
    assert sorted(told) == sorted(model.until(script.end))


def test_the_random_nights_are_worth_their_name() -> None:
    """They reach every rung, answers, returns, gathered rings and quiet nights alike."""
    nights = []
    for seed in SEEDS:
        script = Script(seed)
        model = Model(script.house)
        for event in script.events:
            play(model, event)
        nights.append(model.until(script.end))
    pages = [told for night in nights for told in night if told[1] == "page"]
    assert len(pages) > 2000 and {told[2] for told in pages} == {p.id for p in PEOPLE}
    assert sum(len(told[3]) > 1 for told in pages) > 20
    assert sum(told[1] == "notice" for night in nights for told in night) > 300


# ------------------------------------------------------------- a night that hypothesis makes up

HOURS = [None, (18 * HOUR, 8 * HOUR), (8 * HOUR, 18 * HOUR), (22 * HOUR, 6 * HOUR), (0.0, DAY)]
people = st.sampled_from([person.id for person in PEOPLE])
kinds, picks = st.sampled_from(KINDS), st.integers(0, 15)
quarters = st.integers(1, 12).map(lambda quarter: quarter / 4)
"""Degrees beyond what is right."""
rotas = st.lists(
    st.builds(
        Duty,
        role=st.sampled_from(["brewer", "brewer", "maintenance", "crew"]),
        person=people,
        order=st.integers(1, 99),
        days=st.sampled_from([(), (), ("sun", "tue"), ("mon", "wed")]),
        hours=st.sampled_from(HOURS),
        awake=st.sampled_from([False, False, False, True]),
    ),
    max_size=6,
    unique_by=lambda duty: duty.order,
)


class MadeUpNight(RuleBasedStateMachine):
    """Whatever happens in whatever order, the watch and the model tell the same people."""

    @initialize(rota=rotas, quarter=st.integers(0, 95))
    def begins(self, rota: list[Duty], quarter: int) -> None:
        house = with_rota(brewery(), *rota)
        self.bell = Bell(house, at=DUSK + quarter * 15 * MINUTE)
        self.model = Model(house)
        self.dead: set[str] = set()

    @property
    def now(self) -> float:
        return self.bell.now

    @rule(minutes=st.sampled_from([1, 2, 5, 10, 20, 30, 60, 180, 400]))
    def time_passes(self, minutes: int) -> None:
        self.on(minutes)

    def on(self, minutes: float = 1 / 60) -> None:
        """No two things happen in one second."""
        self.bell.on(minutes)
        self.model.until(self.now)

    def one_of(self, kinds: set[Kind], pick: int) -> Kind:
        return sorted(kinds)[pick % len(kinds)]

    @rule(kind=kinds, pick=picks, worse=st.none() | quarters)
    def something_rises(self, kind: Kind, pick: int, worse: float | None) -> None:
        free = {kind for kind in KINDS if kind not in self.model.holding}
        if free:
            self.on()
            kind = kind if kind in free else self.one_of(free, pick)
            self.bell.find(kind.subject, kind.condition, worse=worse)
            self.model.rises(self.now, kind, worse)

    @precondition(lambda self: self.model.holding)
    @rule(pick=picks, worse=quarters)
    def it_is_heard_how_bad_it_is(self, pick: int, worse: float) -> None:
        self.on()
        kind = self.one_of(self.model.holding, pick)
        self.bell.find(kind.subject, kind.condition, worse=worse)
        self.model.rises(self.now, kind, worse)

    @precondition(lambda self: self.model.holding)
    @rule(pick=picks)
    def something_comes_right(self, pick: int) -> None:
        self.on()
        kind = self.one_of(self.model.holding, pick)
        self.bell.over(kind.subject, kind.condition)
        self.model.falls(self.now, kind)

    @precondition(lambda self: self.model.holding | self.model.unseen)
    @rule(
        pick=picks, who=people, whole=st.booleans(),
        minutes=st.sampled_from([None, None, 30, 90, 300]),
    )  # fmt: skip
    def somebody_answers(self, pick: int, who: str, whole: bool, minutes: int | None) -> None:
        """All that the subject has, or one incident of it; perhaps with a time of their own."""
        self.on()
        kind = self.one_of(self.model.holding | self.model.unseen, pick)
        condition = None if whole else kind.condition
        fields = {} if condition is None else {"condition": condition}
        fields |= {} if minutes is None else {"for_": f"{minutes}m"}
        self.bell.log(kind.subject, "acknowledge", by=who, **fields)
        within = None if minutes is None else minutes * MINUTE
        self.model.answers(self.now, kind.subject, condition, who, within)

    @rule(kind=kinds, hours=st.integers(1, 5), once=st.booleans(), off=st.booleans())
    def shelved(self, kind: Kind, hours: int, once: bool, off: bool) -> None:
        """Or taken from the shelf again."""
        self.on()
        if off and kind in self.model.shelves:
            self.bell.log(kind.subject, "unshelve", condition=kind.condition)
            self.model.unshelved(self.now, kind)
            return
        fields = {"condition": kind.condition, "for_": f"{hours}h", "once": once}
        self.bell.log(kind.subject, "shelve", **fields)
        self.model.shelved(self.now, kind, self.now + hours * HOUR, once)

    @precondition(lambda self: any(page[1] == "page" for page in self.model.out))
    @rule(back=st.integers(0, 5))
    def a_phone_is_dead(self, back: int) -> None:
        self.on()
        pages = self.bell.pages()
        page = pages[-1 - back % len(pages)]
        self.bell.take(Delivered(page.id, page.person, self.now, self.now, False, 3))
        if page.id not in self.dead:  # a second time it is no news
            self.dead.add(page.id)
            self.model.unreached(self.now, told_as(page))

    @rule(
        one=people, other=people, tomorrow=st.booleans(),
        role=st.sampled_from([None, None, "brewer", "maintenance"]),
    )  # fmt: skip
    def two_swap_a_duty(self, one: str, other: str, tomorrow: bool, role: str | None) -> None:
        """Somebody comes on duty, or goes, in the middle of a ring."""
        self.on()
        house = self.bell.house
        day = datetime.fromtimestamp(self.now - 6 * HOUR + tomorrow * DAY, house.zone).date()
        roles = {duty.role for duty in house.rota}
        on_duty = any(has_duty(house, who, role, day) for who in (one, other))
        if one == other or not on_duty or (role is not None and role not in roles):
            return
        fields = {} if role is None else {"role": role}
        self.bell.log(
            "watch", "duty-swap", **{"from": one}, to=other, day=day.isoformat(), **fields
        )
        self.model.swapped(Swap(day, one, other, role))

    @invariant()
    def the_same_people_were_told_the_same(self) -> None:
        if hasattr(self, "bell"):
            told = [
                told_as(event)
                for event in self.bell.story
                if isinstance(event, Message) and event.alarms
            ]
            assert sorted(told) == sorted(self.model.out)


TestMadeUpNight = MadeUpNight.TestCase
TestMadeUpNight.settings = settings(max_examples=50, stateful_step_count=40)


def test_a_second_tank_of_a_dead_chiller_rings_by_itself_only_past_its_limit() -> None:
    """What is no graver stands in the next message; what Aki has in hand of it is hers too, until
    it was no better by her time."""
    bell = Bell(at=NIGHT)
    bell.find("chiller-1", "stopped")
    bell.log("chiller-1", "acknowledge", by="ken", for_="12h")
    bell.find("tank-3", "warm")
    bell.on(4).find("tank-4", "warm")
    bell.on(1).find("tank-4", "far-warm")
    assert [(at, who) for at, who in bell.rings(NIGHT) if who != "ken"] == [(0, "aki"), (5, "aki")]
    bell.log("tank-4", "acknowledge", by="aki", for_="1h")
    heard = len(bell.pages())
    bell.on(60)
    assert [page.alarms[0] for page in bell.pages()][heard:][:1] == ["tank-4/far-warm"]


def test_a_second_tank_of_what_somebody_has_in_hand_is_in_the_same_hands() -> None:
    bell = Bell(at=NIGHT)
    bell.find("chiller-1", "stopped")
    bell.log("chiller-1", "acknowledge", by="ken", for_="12h")
    bell.find("tank-3", "warm")
    bell.log("tank-3", "acknowledge", by="aki")
    bell.on(30).find("tank-4", "warm")
    assert bell.steps("tank-4/warm") == ["raised", "acknowledged"]
    assert [at for at, who in bell.rings(NIGHT) if who != "ken"] == [0]
