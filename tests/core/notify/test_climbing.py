"""The ladder as people live through it: who is rung when, and when no more."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.deadlines import ClimbLadder
from kuraban.core.facts import Impaired, Reading
from kuraban.core.site import Duty, Person, Place
from kuraban.core.units import HOUR
from tests.core.house import AWAKE, ROTA, Bell, brewery, brewing, mashing, moment, with_rota

NIGHT = moment("2026-02-02T02:00")


def test_a_mash_climbs_slowly() -> None:
    """The brewer at once and after ten minutes, the next at thirty, everyone at an hour, and once
    an hour from then on."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(200)
    assert bell.rings(NIGHT) == [
        (0, "aki"), (10, "aki"), (30, "bun"), (60, "aki"), (60, "bun"),
        (120, "aki"), (120, "bun"), (180, "aki"), (180, "bun"),
    ]  # fmt: skip
    assert [page.rung for page in bell.pages()] == [0, 1, 2, 3, 3, 4, 4, 5, 5]


@pytest.mark.parametrize("minutes", [15, 40, 90])
def test_of_rungs_that_came_due_while_nobody_watched_the_last_one_rings(minutes: int) -> None:
    """Nobody's phone rings for each of them at one moment."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(1).take(Impaired("watch", True, bell.now))
    bell.now += minutes * 60
    bell.take(Impaired("watch", False, bell.now))
    bell.wake(bell.now)
    back = [person for at, person in bell.rings(NIGHT) if at > 1]
    assert back == {15: ["aki"], 40: ["bun"], 90: ["aki", "bun"]}[minutes]


def test_what_is_back_within_its_tolerance_is_not_rung_for_once_more() -> None:
    """It is not over yet, but nearly: an hour later is soon enough to say that it was not."""
    night = mashing(at=NIGHT)
    night.run(30).told["t3-mid"] = 10.7
    night.run(225)
    heard = len(night.pages())
    night.told["t3-mid"] = 10.45
    night.run(30)
    assert night.steps("tank-3/warm") == ["raised"] and len(night.pages()) == heard
    night.told["t3-mid"] = 10.7
    night.run(50)
    assert len(night.pages()) == heard + 2


def test_past_its_limit_after_everybody_was_told_it_rings_everybody_at_once() -> None:
    """There is nobody left who might hear of it first; an hour later they hear again."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(90).find("tank-3", "far-warm")
    bell.on(65)
    assert bell.rings(NIGHT)[5:] == [(90, "aki"), (90, "bun"), (150, "aki"), (150, "bun")]


@pytest.mark.parametrize(
    ("subject", "condition"),
    [("bed-1", "cold"), ("moto-1", "warm"), ("tank-3", "far-warm"), ("store", "unwatched")],
)
def test_koji_starters_and_what_is_past_its_limit_climb_quickly(
    subject: str, condition: str
) -> None:
    """But a store with nothing to judge by is slow: nothing in it moves in minutes."""
    bell = Bell(at=NIGHT)
    bell.find(subject, condition)
    bell.on(65)
    quick = [(0, "aki"), (5, "aki"), (10, "bun"), (20, "aki"), (20, "bun")]
    slow = [(0, "aki"), (10, "aki"), (30, "bun"), (60, "aki"), (60, "bun")]
    assert bell.rings(NIGHT) == (slow if subject == "store" else quick)


def test_a_heater_climbs_quickly_and_a_chiller_slowly() -> None:
    for cooler, minutes in (("heater-1", [0, 5, 10, 20]), ("chiller-1", [0, 10, 30, 60])):
        bell = Bell(at=NIGHT)
        bell.find(cooler, "stopped")
        bell.on(65)
        assert [at for at, who in bell.rings(NIGHT) if who == "ken"] == minutes
        assert bell.rings(NIGHT)[-2:] == [(minutes[-1], "aki"), (minutes[-1], "bun")]


def test_an_acknowledgement_stops_every_ring_to_come() -> None:
    """A second before the ring is early enough, and nobody is rung after it."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.wake(NIGHT + 30 * 60 - 1)
    bell.log("tank-3", "acknowledge", condition="warm", by="aki")
    bell.on(170)
    assert bell.rings(NIGHT) == [(0, "aki"), (10, "aki")]
    assert "tank-3/warm" in bell.in_hand()


def test_what_came_right_before_anyone_answered_wakes_nobody_further() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(9).over("tank-3", "warm")
    bell.on(300)
    assert bell.rings(NIGHT) == [(0, "aki")]
    assert bell.engine.alarm_manager.of("tank-3"), "it stays on the list until someone has seen it"
    assert "tank-3/warm" in bell.in_hand()


def test_someone_awake_hears_of_the_mash_before_the_sleeping_brewer() -> None:
    bell = Bell(brewery(AWAKE), at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(65)
    assert bell.rings(NIGHT) == [
        (0, "cho"), (10, "cho"), (30, "aki"), (60, "cho"), (60, "aki"), (60, "bun"),
    ]  # fmt: skip


def test_the_rota_is_read_when_a_rung_is_climbed() -> None:
    """Cho goes home at six; a ring after that goes to the brewer."""
    bell = Bell(brewery(AWAKE), at=moment("2026-02-02T05:55"))
    bell.find("tank-3", "warm")
    bell.on(20)
    assert [who for _, who in bell.rings(0.0)] == ["cho", "aki"]


def test_nobody_on_maintenance_wakes_the_brewer_for_a_cooler() -> None:
    house = with_rota(brewery(), *(duty for duty in ROTA if duty.role != "maintenance"))
    bell = Bell(house, at=NIGHT)
    bell.find("chiller-1", "stopped")
    assert [(page.person, page.role) for page in bell.pages()] == [("aki", "maintenance")]


def test_a_newcomer_on_the_rota_is_told_like_anyone() -> None:
    house = brewery(Duty(role="brewer", person="eri", order=0, hours=(0.0, 24 * HOUR)))
    eri = Person(id="eri", name="Eri", language="ja")
    house = msgspec.structs.replace(house, people=(*house.people, eri))
    bell = Bell(house, at=NIGHT)
    bell.find("tank-3", "warm")
    assert [page.person for page in bell.pages()] == ["eri"]


# A page that no service took: the next person hears it at once, and nobody hears it twice.


def failed(bell: Bell, number: int = -1) -> None:
    """The courier says that a page reached nobody."""
    bell.engine.notifier.climbing.unreached(bell.pages()[number].id, bell.now)
    bell._drained()


def test_the_next_person_is_told_at_once() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(2)
    failed(bell)
    assert bell.rings(NIGHT) == [(0, "aki"), (2, "bun")]


def test_one_page_that_failed_is_passed_on_once() -> None:
    """And when everybody was told there is nobody left."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    for _ in range(3):
        failed(bell, 0)
    failed(bell)
    failed(bell)
    assert bell.rings(NIGHT) == [(0, "aki"), (0, "bun")]


def test_the_ladder_goes_on_as_it_would() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(2)
    failed(bell)
    bell.on(58)
    assert bell.rings(NIGHT)[:4] == [(0, "aki"), (2, "bun"), (10, "aki"), (30, "bun")]


def test_after_an_answer_nobody_further_is_told() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.log("tank-3", "acknowledge", by="dai")
    failed(bell)
    assert bell.rings(NIGHT) == [(0, "aki")]


def test_maintenance_that_cannot_be_reached_passes_to_the_brewer() -> None:
    bell = Bell(at=NIGHT)
    bell.find("chiller-1", "stopped")
    failed(bell)
    assert bell.rings(NIGHT) == [(0, "ken"), (0, "aki")]


def test_a_message_that_is_unknown_is_nothing() -> None:
    bell = Bell(at=NIGHT)
    bell.engine.notifier.climbing.unreached("nobody's", NIGHT)
    bell._drained()
    assert not bell.pages()


def rung_again() -> Bell:
    """Told to two, then in Aki's hands, and after three hours the tank has not turned."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(31).log("tank-3", "acknowledge", by="aki")
    bell.on(180)
    assert bell.steps("tank-3/warm") == ["raised", "acknowledged", "realarmed"]
    return bell


def test_after_it_rang_again_the_next_person_is_told_as_at_the_first_time() -> None:
    """Aki's phone is dead by now: Bun, who was told of the first ring, is told at once."""
    bell = rung_again()
    bell.on(2)
    failed(bell)
    assert bell.rings(NIGHT)[3:] == [(211, "aki"), (213, "bun")]


def test_who_was_told_of_either_ring_hears_who_has_it() -> None:
    bell = rung_again()
    bell.log("tank-3", "acknowledge", by="aki")
    last = [word for word in bell.messages("notice") if word.at == bell.now]
    assert [word.person for word in last] == ["bun"]


def test_a_page_of_an_earlier_ring_that_fails_late_is_no_news() -> None:
    """The second ring has a page of its own, which tells whether the phone is dead."""
    bell = rung_again()
    failed(bell, 0)
    assert bell.rings(NIGHT)[3:] == [(211, "aki")]


def test_past_the_limit_everybody_is_to_be_told_anew() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    failed(bell)
    bell.on(1).find("tank-3", "far-warm")
    failed(bell)
    assert bell.rings(NIGHT) == [(0, "aki"), (0, "bun"), (1, "aki"), (1, "bun")]


def test_who_came_on_duty_since_the_ring_began_is_the_next() -> None:
    """Before Bun, who was told twice; and she sleeps on while nobody else is there."""
    late = Duty(role="brewer", person="aki", order=1, hours=(2 * HOUR + 1200, 12 * HOUR))
    bun = Duty(role="brewer", person="bun", order=2)
    bell = Bell(brewery(rota=(late, bun)), at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(59)
    assert bell.rings(NIGHT) == [(0, "bun"), (10, "bun"), (30, "aki")]


def test_whoever_is_on_duty_and_was_not_told_comes_before_whoever_was() -> None:
    """Two phones are dead; the third rung goes to the third."""
    cho = Duty(role="brewer", person="cho", order=3)
    bell = Bell(brewery(cho), at=NIGHT)
    bell.find("tank-3", "warm")
    failed(bell)
    bell.on(59)
    assert bell.rings(NIGHT) == [(0, "aki"), (0, "bun"), (10, "aki"), (30, "cho")]


def with_ladder(bell: Bell, *minutes: float) -> None:
    """The site file's ladder is changed, and the watch started anew."""
    rungs = tuple(60.0 * minute for minute in minutes)
    site = msgspec.structs.replace(bell.house.site, ladder=rungs)
    bell.change(msgspec.structs.replace(bell.house, site=site))


def test_a_ladder_shortened_while_it_is_climbed_ends_where_it_now_ends() -> None:
    """What was planned and is no rung any more is the first of its hourly messages."""
    bell = brewing(Bell(at=NIGHT))
    bell.find("tank-3", "warm")
    bell.on(11)
    with_ladder(bell, 0, 10)
    bell.on(80)
    assert bell.rings(NIGHT) == [(0, "aki"), (10, "aki"), (30, "aki"), (90, "aki")]


def test_rungs_moved_earlier_are_one_ring_when_the_first_was_to_be() -> None:
    """No message bears a time that was over when it was made."""
    bell = brewing(Bell(at=NIGHT))
    bell.find("tank-3", "warm")
    bell.on(25)
    with_ladder(bell, 0, 10, 20, 28)
    bell.on(60)
    assert bell.rings(NIGHT) == [(0, "aki"), (10, "aki"), (30, "aki"), (30, "bun")]


def test_words_that_fail_end_no_ladder() -> None:
    """A fault of ours while a page is written costs that page and none of the rungs after it."""
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    writer = bell.engine.notifier.writer
    words, writer._words = writer._words, None  # type: ignore[assignment]
    with pytest.raises(ExceptionGroup):
        bell.on(15)
    writer._words = words
    bell.on(45)
    assert bell.rings(NIGHT) == [(0, "aki"), (30, "bun"), (60, "aki"), (60, "bun")]


def test_each_page_says_which_rung_and_how_urgent_it_is() -> None:
    bell = Bell(at=NIGHT)
    bell.find("store", "warm")
    bell.on(60)
    told = {(page.person, page.rung, page.role, page.urgency) for page in bell.pages()}
    assert told == {
        ("ken", 0, "maintenance", "wake"), ("ken", 1, "maintenance", "wake"),
        ("ken", 2, "maintenance", "wake"), ("ken", 3, "maintenance", "wake"),
        ("aki", 3, "maintenance", "wake"), ("bun", 3, "maintenance", "wake"),
    }  # fmt: skip


def test_a_ladder_of_many_rungs_ends_with_everybody_again_and_again() -> None:
    site = msgspec.structs.replace(brewery().site, ladder=tuple(60.0 * n for n in range(6)))
    bell = Bell(msgspec.structs.replace(brewery(), site=site), at=NIGHT)
    bell.find("tank-3", "warm")
    bell.on(60)
    assert [who for at, who in bell.rings(NIGHT) if at >= 3] == ["aki", "bun"] * 3


def test_a_list_that_no_phone_took_is_passed_on_for_all_in_it() -> None:
    bell = brewing(Bell(at=NIGHT))
    for subject in ("tank-4", "moto-1"):
        for condition in ("unwatched", "warm", "cold"):
            bell.find(subject, condition)
        bell.log(subject, "acknowledge", by="bun", for_="12h")
    bell.find("bed-1", "cold")
    bell.find("tank-3", "cold")
    bell.on(5)
    gathered = bell.pages("aki")[-1]
    assert gathered.alarms == ("bed-1/cold", "tank-3/cold")
    bell.engine.notifier.climbing.unreached(gathered.id, bell.now)
    bell._drained()
    assert [page.alarms for page in bell.pages("bun")] == [("bed-1/cold",), ("tank-3/cold",)]


# One cause: what led is over or answered, or the watch is another since.


def dead_chiller(**site: tuple[float, ...]) -> Bell:
    """Ken has a chiller of three tanks in hand; the first has rung, the others follow it."""
    tanks = tuple(Place(id=f"tank-{n}", kind="tank", name=f"Tank {n}", cooler="chiller-1")
                  for n in (3, 4, 5))  # fmt: skip
    home = brewery(site=msgspec.structs.replace(brewery().site, **site))
    home = msgspec.structs.replace(home, places=tanks, coolers=home.coolers[:1], probes=())
    bell = Bell(home, at=NIGHT)
    bell.find("chiller-1", "stopped")
    bell.log("chiller-1", "acknowledge", by="ken", for_="12h")
    for tank in tanks:
        bell.find(tank.id, "warm")
    return bell


def told(bell: Bell) -> list[tuple[float, str, tuple[str, ...]]]:
    """What was told of tanks: minute, whom, which."""
    return [((page.at - NIGHT) / 60, page.person, page.alarms)
            for page in bell.pages() if page.role == "brewer"]  # fmt: skip


OTHERS = ("tank-4/warm", "tank-5/warm")


@pytest.mark.parametrize(
    ("over", "then"),
    [
        (5, [(5, "aki", OTHERS), (15, "aki", OTHERS), (35, "bun", OTHERS)]),
        (12, [(30, "bun", OTHERS), (60, "aki", OTHERS), (60, "bun", OTHERS)]),
    ],
)
def test_what_followed_goes_on_when_what_led_is_over(over: float, then: list[object]) -> None:
    """From the first rung where nobody had heard of it; else from where the ladder stood."""
    bell = dead_chiller().on(over)
    heard = len(told(bell))
    bell.over("tank-3", "warm")
    assert told(bell.on(60))[heard : heard + 3] == then


def test_what_follows_the_end_of_a_shorter_ladder_is_at_the_end_of_its_own() -> None:
    bell = dead_chiller(quick_ladder=(0.0, 300.0))
    bell.on(1).find("tank-3", "far-warm")
    bell.on(19).over("tank-3", "far-warm")
    heard = len(told(bell))
    bell.over("tank-3", "warm")
    assert told(bell.on(70))[heard:] == [(80, "aki", OTHERS), (80, "bun", OTHERS)]


@pytest.mark.parametrize(
    ("before", "minutes", "due", "rung"), [(0, 9, 10, 1), (0, 10, 70, 4), (130, 5, 195, 4)]
)
def test_after_an_update_what_rings_goes_on_and_what_follows_it_rings_in_its_messages(
    before: float, minutes: float, due: float, rung: int
) -> None:
    """Its next rung, or in an hour where that was left out; what can wait has no ladder."""
    bell = dead_chiller()
    bell.find("watch", "clock-wrong")
    bell.on(before)
    deadlines, climbing = bell.engine.deadlines, bell.engine.notifier.climbing
    deadlines.items.clear()
    bell.on(minutes)
    climbing.take_up({("tank-3", "warm")}, bell.now)
    assert not deadlines.items
    climbing.take_up(set(), bell.now)
    assert [(item.at, item.deadline) for item in deadlines.items] == [
        (NIGHT + 60 * due, ClimbLadder(("tank-3", "warm"), NIGHT, rung))
    ]


def test_at_their_ladders_end_two_tanks_share_one_message_and_not_before() -> None:
    bell = Bell(at=NIGHT)
    bell.find("tank-3", "warm")
    bell.find("tank-4", "warm")
    bell.on(125)
    assert [page.alarms for page in bell.pages("bun")] == [
        ("tank-3/warm",), ("tank-4/warm",), ("tank-3/warm",), ("tank-4/warm",),
        ("tank-3/warm", "tank-4/warm"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("condition", "reads", "rings"),
    [
        ("warm", 10.5, 0),
        ("warm", 10.6, 2),
        ("cold", 9.5, 0),
        ("cold", 9.4, 2),
        ("unwatched", 10, 2),
    ],
)
def test_of_what_is_home_everybody_is_told_once_and_not_once_more(
    condition: str, reads: float, rings: int
) -> None:
    """Within half a degree of the plan's ten; of what has no side nothing is known to be home."""
    bell = Bell(at=NIGHT)
    bell.log("tank-3", "batch-start", batch="3", course="mash", stage="main")
    bell.find("tank-3", condition)
    for _ in range(118):
        bell.on(1).take(Reading("t3-mid", bell.now, reads, bell.now))
    assert bell.rings(NIGHT)[3:] == [(60, "aki"), (60, "bun")]
    heard = len(bell.pages())
    assert len(bell.on(5).pages()) - heard == rings


def test_what_is_told_to_everybody_at_once_is_told_though_it_is_home() -> None:
    bell = Bell(at=NIGHT)
    bell.log("tank-3", "batch-start", batch="3", course="mash", stage="main")
    bell.find("tank-3", "warm")
    for _ in range(70):
        bell.on(1).take(Reading("t3-mid", bell.now, 10.0, bell.now))
    bell.find("tank-3", "far-warm")
    assert bell.rings(bell.now) == [(0, "aki"), (0, "bun")]
