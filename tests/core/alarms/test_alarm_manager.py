"""What becomes of findings: held back by what explains them, kept in hand, rung again."""

from __future__ import annotations

import msgspec
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from kuraban.core.alarms.alarm_manager import AlarmManager
from kuraban.core.alarms.life_cycle import Alarm, State
from kuraban.core.detectors.base import Finding
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.planned_curve import Course, Sides
from kuraban.core.units import DAY, HOUR, MINUTE
from tests.core.alarms.standard import KINDS, Kind, Standard, Standing
from tests.core.house import DUSK, Bell, brewery, brewing, mashing, stage

WARM = "tank-3/warm"


def in_hand(worse: float = 0.7, **fields: object) -> Bell:
    """Tank 3 in its main mash, warm and in Aki's hands."""
    bell = Bell()
    bell.log("tank-3", "batch-start", batch="3", course="mash", stage="main")
    bell.find("tank-3", "warm", worse=worse)
    bell.on(4).log("tank-3", "acknowledge", condition="warm", by="aki", **fields)
    return bell


# ------------------------------------------------------------------------------ in somebody's hands


def test_a_tank_in_hand_that_only_stands_there_rings_nobody() -> None:
    bell = in_hand()
    for _ in range(15):
        bell.on(10).find("tank-3", "warm", worse=0.79)
    assert bell.steps(WARM) == ["raised", "acknowledged"]


def test_a_tank_in_hand_rings_again_when_it_is_a_deadband_worse() -> None:
    """A deadband of a tolerance of half a degree is a tenth (common practice)."""
    bell = in_hand(worse=0.7)
    bell.on(30).find("tank-3", "warm", worse=0.81)
    assert bell.steps(WARM) == ["raised", "acknowledged", "realarmed"]
    assert bell.rings(bell.now) == [(0.0, "aki")]


def test_worse_is_counted_from_when_it_was_last_taken_in_hand() -> None:
    bell = in_hand(worse=0.7)
    bell.on(30).find("tank-3", "warm", worse=0.9)
    bell.log("tank-3", "acknowledge", by="aki")
    bell.on(10).find("tank-3", "warm", worse=0.99)
    assert bell.steps(WARM)[-1] == "acknowledged"
    bell.on(10).find("tank-3", "warm", worse=1.01)
    assert bell.steps(WARM)[-1] == "realarmed"


@pytest.mark.parametrize(
    ("subject", "course", "condition", "minutes"),
    [
        ("tank-3", "mash", "warm", 180),
        ("moto-1", "moto", "cold", 60),
        ("bed-1", "koji", "cold", 30),
    ],
)
def test_an_unkept_promise_rings_again(
    subject: str, course: str, condition: str, minutes: float
) -> None:
    """A mash has three hours to turn, a starter one, koji half of one."""
    bell = Bell()
    bell.log(subject, "batch-start", batch="3", course=course)
    bell.find(subject, condition, worse=1.2)
    bell.log(subject, "acknowledge", by="aki")
    taken = bell.now
    bell.on(minutes - 0.1)
    assert bell.steps(f"{subject}/{condition}")[-1] == "acknowledged"
    bell.on(0.1)
    assert bell.step(f"{subject}/{condition}", "realarmed").at == taken + 60 * minutes


def test_a_cooler_in_hand_has_an_hour() -> None:
    bell = Bell()
    bell.find("chiller-1", "stopped")
    bell.log("chiller-1", "acknowledge", by="ken")
    bell.on(59.9)
    assert bell.steps("chiller-1/stopped")[-1] == "acknowledged"
    bell.on(0.1)
    assert bell.steps("chiller-1/stopped")[-1] == "realarmed"


def test_a_promise_of_ones_own_is_kept_by_its_own_time() -> None:
    bell = in_hand(for_="5h")
    bell.on(299)
    assert bell.steps(WARM)[-1] == "acknowledged"
    bell.on(1)
    assert bell.steps(WARM)[-1] == "realarmed"


def test_a_tank_that_turned_toward_its_plan_keeps_the_promise() -> None:
    bell = in_hand(worse=0.9)
    bell.on(170).find("tank-3", "warm", worse=0.8)
    bell.on(600)
    assert bell.steps(WARM) == ["raised", "acknowledged"]


@pytest.mark.parametrize(("worse", "kept"), [(0.84, True), (0.86, False), (0.9, False)])
def test_it_has_turned_when_it_is_better_by_half_a_deadband(worse: float, kept: bool) -> None:
    """A twentieth of a degree where the tolerance is half a degree and the deadband a tenth."""
    bell = in_hand(worse=0.9)
    bell.on(170).find("tank-3", "warm", worse=worse)
    bell.on(20)
    assert (bell.steps(WARM)[-1] == "acknowledged") is kept


@pytest.mark.parametrize(("worse", "kept"), [(1.84, True), (1.86, False)])
def test_a_store_has_turned_when_it_is_better_by_half_of_what_would_be_worse(
    worse: float, kept: bool
) -> None:
    """By 0.15 K; it would be worse by 0.3 K."""
    bell = Bell()
    bell.find("store", "warm", worse=2.0)
    bell.log("store", "acknowledge", by="ken")
    bell.on(179).find("store", "warm", worse=worse)
    bell.on(1)
    assert (bell.steps("store/warm")[-1] == "acknowledged") is kept


@pytest.mark.parametrize(("worse", "rings"), [(2.29, False), (2.31, True)])
def test_a_store_in_hand_rings_again_when_it_is_three_tenths_worse(
    worse: float, rings: bool
) -> None:
    bell = Bell()
    bell.find("store", "warm", worse=2.0)
    bell.log("store", "acknowledge", by="ken")
    bell.on(30).find("store", "warm", worse=worse)
    assert (bell.steps("store/warm")[-1] == "realarmed") is rings


def test_what_nobody_can_measure_any_more_has_not_turned() -> None:
    bell = Bell()
    bell.find("tank-3", "warm")
    bell.log("tank-3", "acknowledge", by="aki")
    bell.on(180)
    assert bell.steps(WARM)[-1] == "realarmed"


def test_what_was_measured_when_it_was_taken_in_hand_and_no_longer_is_has_not_turned() -> None:
    bell = in_hand(worse=0.9)
    bell.on(20).find("tank-3", "warm")
    bell.on(160)
    assert bell.steps(WARM) == ["raised", "acknowledged", "realarmed"]


def test_a_probe_in_hand_need_not_turn() -> None:
    bell = Bell()
    bell.find("t3-mid", "wild")
    bell.log("t3-mid", "acknowledge", by="ken")
    bell.on(24 * 60)
    assert bell.steps("t3-mid/wild") == ["raised", "acknowledged"]


def test_worse_is_counted_from_when_it_is_first_known_how_bad_it_is() -> None:
    """Nobody could measure it when it was taken in hand."""
    bell = Bell()
    bell.log("tank-3", "batch-start", batch="3", course="mash", stage="main")
    bell.find("tank-3", "warm")
    bell.log("tank-3", "acknowledge", by="aki")
    bell.on(10).find("tank-3", "warm", worse=0.8)
    bell.on(10).find("tank-3", "warm", worse=0.89)
    assert bell.steps(WARM)[-1] == "acknowledged"
    bell.on(10).find("tank-3", "warm", worse=0.91)
    assert bell.steps(WARM)[-1] == "realarmed"


def evidence(bell: Bell) -> tuple[str, ...]:
    return bell.engine.alarm_manager.alarm("tank-3", "warm").evidence


def test_why_it_rings_again_is_told_first_and_once() -> None:
    """It got worse, or it has not turned."""
    bell = in_hand(worse=0.7)
    for worse in (0.9, 1.1):
        bell.on(10).find("tank-3", "warm", worse=worse)
        assert evidence(bell) == ("got_worse",)
        bell.log("tank-3", "acknowledge", by="aki")
    for _ in range(2):
        bell.on(180)
        assert evidence(bell) == ("not_turned", "got_worse")
        bell.log("tank-3", "acknowledge", by="aki")


def test_a_deadband_goes_by_the_wider_side_of_the_tolerance() -> None:
    """A fifth of 1.5 K above; half a degree below does not count."""
    wide = stage("main", DAY, (0.0, 10.0))
    wide = msgspec.structs.replace(wide, tolerance=Sides(0.5, 1.5))
    course = Course(id="wide", for_=("tank",), never=(3.0, 16.0), stages=(wide,))
    house = msgspec.structs.replace(brewery(), courses=(course,))
    for worse, rings in ((1.99, False), (2.01, True)):
        bell = Bell(house)
        bell.log("tank-3", "batch-start", batch="3", course="wide")
        bell.find("tank-3", "warm", worse=1.7)
        bell.log("tank-3", "acknowledge", by="aki")
        bell.on(10).find("tank-3", "warm", worse=worse)
        assert (bell.steps(WARM)[-1] == "realarmed") is rings


def test_what_is_over_is_told_with_what_is_measured_now_or_with_nothing() -> None:
    """A chiller that runs again is not told with the 0 W that it stopped with."""
    bell = Bell()
    bell.find("tank-3", "warm", value=10.8)
    bell.on(5).over("tank-3", "warm")
    assert bell.step(WARM, "returned").value is None
    bell.find("tank-3", "warm", value=10.9)
    bell.find("tank-3", "warm", False, value=10.2)
    assert bell.step(WARM, "returned").value == 10.2


def test_what_rings_again_is_in_nobodys_hands() -> None:
    bell = in_hand()
    bell.on(30).find("tank-3", "warm", worse=0.9)
    alarm = bell.engine.alarm_manager.alarm("tank-3", "warm")
    assert (alarm.by, alarm.in_hand_until, alarm.raised) == (None, None, bell.now)


@pytest.mark.parametrize(("minutes", "left"), [(20, 280), (290, 10)])
def test_what_joins_is_in_the_same_hands_until_the_same_time(minutes: float, left: float) -> None:
    bell = in_hand(for_="5h")
    bell.on(minutes).find("tank-3", "trending-warm")
    joined = bell.engine.alarm_manager.alarm("tank-3", "trending-warm")
    assert joined.state is State.ACKNOWLEDGED and joined.by == "aki"
    assert joined.in_hand_until == bell.now + left * MINUTE


def test_whoever_has_a_tank_in_hand_hears_of_a_second_sign_of_it_once() -> None:
    bell = Bell()
    bell.find("tank-3", "cold")
    bell.log("tank-3", "acknowledge", by="aki")
    bell.on(5).find("tank-3", "overcooling")
    assert [word.alarms for word in bell.messages("notice")] == [("tank-3/overcooling",)]


def test_what_its_hands_were_told_of_before_they_answered_is_not_told_again() -> None:
    """The second tank of a dead chiller stood in the message that Aki answered."""
    bell = Bell()
    bell.find("chiller-1", "stopped")
    bell.log("chiller-1", "acknowledge", by="ken")
    bell.find("tank-3", "warm")
    bell.on(4).find("tank-4", "warm")
    heard = len(bell.on(7).messages("notice"))
    bell.log("tank-3", "acknowledge", by="aki")
    assert bell.steps("tank-4/warm") == ["raised", "acknowledged"]
    assert len(bell.messages("notice", "aki")) == heard == 1


def test_what_joins_after_the_promise_was_kept_has_its_own_time() -> None:
    """Tank 3 had turned by then, and is still in Aki's hands: no time stands any more."""
    bell = in_hand(worse=0.9)
    bell.on(10).find("tank-3", "warm", worse=0.6)
    bell.on(200).find("tank-3", "trending-warm")
    joined = bell.engine.alarm_manager.alarm("tank-3", "trending-warm")
    assert joined.by == "aki" and joined.in_hand_until == bell.now + 3 * HOUR


def test_one_answer_for_all_of_a_place_answers_the_gravest_first() -> None:
    bell = Bell()
    for condition in ("warm", "unwatched", "far-warm"):
        bell.find("tank-3", condition)
    bell.log("tank-3", "acknowledge", by="aki")
    answered = [step.split()[0] for step in bell.steps() if step.endswith("acknowledged")]
    assert answered == ["tank-3/far-warm", "tank-3/warm", "tank-3/unwatched"]


def test_a_second_acknowledgement_changes_nothing() -> None:
    """It is still Aki's, by the time that Aki's word gave, and as far off as it was then."""
    # ANSI/ISA-18.2-2016 clause 5 (from memory): acknowledging again does nothing
    bell = in_hand(worse=0.7)
    alarm = bell.engine.alarm_manager.alarm("tank-3", "warm")
    until = alarm.in_hand_until
    bell.on(20).find("tank-3", "warm", worse=0.75)
    bell.log("tank-3", "acknowledge", condition="warm", by="bun")
    assert (alarm.by, alarm.acked_worse, alarm.in_hand_until) == ("aki", 0.7, until)
    assert bell.steps(WARM) == ["raised", "acknowledged"]


def test_a_new_word_renews_the_promise() -> None:
    """Who has it may still say that it takes longer."""
    bell = in_hand(worse=0.7)
    bell.on(60).log("tank-3", "acknowledge", condition="warm", by="aki", for_="6h")
    bell.on(359)
    assert bell.steps(WARM) == ["raised", "acknowledged"]
    bell.on(1)
    assert bell.steps(WARM)[-1] == "realarmed"


def test_an_acknowledgement_of_a_tank_that_is_right_is_nothing() -> None:
    bell = Bell()
    bell.log("tank-3", "acknowledge", condition="warm", by="aki")
    bell.log("tank-3", "acknowledge", by="aki")
    assert bell.story == [] and bell.refusals() == []


def test_an_acknowledgement_without_a_name_is_somebodys() -> None:
    bell = Bell()
    bell.find("tank-3", "warm")
    bell.log("tank-3", "acknowledge")
    assert bell.engine.alarm_manager.alarm("tank-3", "warm").by == "somebody"


def test_seen_after_it_returned_takes_it_off_the_list() -> None:
    bell = Bell()
    bell.find("tank-3", "warm")
    bell.on(2).over("tank-3", "warm")
    assert bell.engine.alarm_manager.of("tank-3")
    bell.on(2).log("tank-3", "acknowledge", by="aki")
    assert bell.steps(WARM) == ["raised", "returned", "normal"]
    assert not bell.engine.alarm_manager.of("tank-3")


def test_what_returned_unseen_rings_again_when_it_comes_back() -> None:
    bell = Bell()
    bell.find("tank-3", "warm")
    bell.on(2).over("tank-3", "warm")
    bell.on(2).find("tank-3", "warm")
    assert bell.steps(WARM) == ["raised", "returned", "realarmed"]
    assert bell.rings(bell.now) == [(0.0, "aki")]


# -------------------------------------------------------------------------------- explained by more


def test_a_failing_cooler_explains_the_tanks_that_are_on_their_way() -> None:
    """One cause, one page: what trends is held back while the chiller stands still."""
    bell = Bell()
    bell.find("chiller-1", "stopped")
    bell.on(60).find("tank-3", "trending-warm")
    assert bell.steps("tank-3/trending-warm") == ["suppressed"]
    bell.on(60).over("chiller-1", "stopped")
    assert bell.steps("tank-3/trending-warm") == ["suppressed", "released"]


def test_a_cooler_found_later_takes_over_the_tanks_that_already_ring() -> None:
    bell = Bell()
    bell.find("tank-3", "trending-warm")
    bell.log("tank-3", "acknowledge", by="aki")
    bell.on(5).find("chiller-1", "warming")
    assert bell.steps("tank-3/trending-warm")[-1] == "suppressed"


def test_a_tank_that_truly_leaves_its_tolerance_rings_beside_its_cooler() -> None:
    bell = Bell()
    bell.find("chiller-1", "stopped")
    bell.on(90).find("tank-3", "warm")
    assert bell.steps(WARM) == ["raised"]
    assert "Chiller 1" in bell.pages("aki")[-1].body


def test_another_tanks_cooler_explains_nothing() -> None:
    bell = Bell()
    bell.find("chiller-2", "stopped")
    bell.find("tank-3", "trending-warm")
    assert bell.steps("tank-3/trending-warm") == ["raised"]
    bell.log("tank-4", "served-by", cooler="chiller-2")
    bell.find("tank-4", "trending-warm")
    assert bell.steps("tank-4/trending-warm") == ["suppressed"], "it serves tank 4 now"


def test_what_came_right_while_held_back_is_simply_over() -> None:
    bell = Bell()
    bell.find("chiller-1", "stopped")
    bell.find("tank-3", "trending-warm")
    bell.on(30).over("tank-3", "trending-warm")
    assert bell.engine.alarm_manager.alarm("tank-3", "trending-warm").state is State.NORMAL
    bell.on(30).over("chiller-1", "stopped")
    assert bell.steps("tank-3/trending-warm")[-1] == "released"
    assert not bell.pages("dai") and len(bell.pages("aki")) == 1


def test_a_second_failing_of_the_cooler_goes_on_explaining() -> None:
    bell = Bell()
    for failing in ("stopped", "warming"):
        bell.find("chiller-1", failing)
    bell.find("tank-3", "trending-warm")
    bell.on(5).over("chiller-1", "stopped")
    assert bell.steps("tank-3/trending-warm") == ["suppressed"]
    bell.on(5).over("chiller-1", "warming")
    assert bell.steps("tank-3/trending-warm") == ["suppressed", "released"]


def test_the_dark_explains_silent_probes_and_unwatched_places() -> None:
    bell = Bell()
    bell.find("t3-mid", "silent")
    bell.on(5).find("watch", "dark")
    bell.find("t4-mid", "silent")
    bell.find("tank-4", "unwatched")
    held = ["t3-mid/silent", "t4-mid/silent", "tank-4/unwatched"]
    assert [bell.steps(alarm)[-1] for alarm in held] == ["suppressed"] * 3
    bell.on(5).over("watch", "dark")
    assert [bell.steps(alarm)[-1] for alarm in held] == ["released"] * 3


def test_the_dark_explains_no_warm_tank() -> None:
    bell = Bell()
    bell.find("watch", "dark")
    bell.find("tank-3", "warm")
    assert bell.steps(WARM) == ["raised"]


# ------------------------------------------------------------------------------ probes not believed


def doubted(bell: Bell, probe: str = "t3-mid") -> list[tuple[float, float]]:
    """When it was not to be believed, in hours after dusk."""
    found = bell.engine.alarm_manager.doubts(probe, bell.now)
    return [((one.start - DUSK) / HOUR, (one.end - DUSK) / HOUR) for one in found]


@pytest.mark.parametrize("doubt", ["displaced", "stuck", "wild"])
def test_a_doubt_lasts_from_when_it_began_until_it_is_over(doubt: str) -> None:
    """So far as it is not over, until now; and it is no other probe's."""
    bell = Bell()
    bell.find("t3-mid", doubt, since=DUSK - HOUR)
    bell.on(30)
    assert doubted(bell) == [(-1.0, 0.5)] and doubted(bell, "t4-mid") == []
    bell.over("t3-mid", doubt)
    bell.on(60)
    assert doubted(bell) == [(-1.0, 0.5)]


@pytest.mark.parametrize("condition", ["silent", "disagrees"])
def test_a_probe_that_is_silent_or_off_its_twin_is_believed_in_what_it_tells(
    condition: str,
) -> None:
    bell = Bell()
    bell.find("t3-mid", condition)
    bell.on(30)
    assert doubted(bell) == []
    bell.over("t3-mid", condition)
    assert doubted(bell) == []


def test_doubts_of_the_last_fourteen_hours_are_remembered() -> None:
    """A night and what comes before its report; then they are forgotten with the next one."""
    bell = Bell()
    for hour in (1, 3, 16):
        bell.wake(DUSK + (hour - 1) * HOUR)
        bell.find("t3-mid", "wild")
        bell.on(60).over("t3-mid", "wild")
    assert doubted(bell) == [(2.0, 3.0), (15.0, 16.0)]


# --------------------------------------------------------------------------------- silenced by hand


def test_a_shelf_ends_by_itself_and_rings_what_still_stands() -> None:
    bell = Bell()
    bell.find("tank-3", "warm")
    bell.log("tank-3", "shelve", condition="warm", for_="2h", by="aki")
    bell.on(119)
    assert len(bell.pages()) == 1
    bell.on(1)
    assert bell.steps(WARM) == ["raised", "shelved", "unshelved"]
    assert bell.rings(bell.now) == [(0.0, "aki")]


def test_a_shelf_over_what_came_right_ends_in_silence() -> None:
    bell = Bell()
    bell.find("tank-3", "warm")
    bell.log("tank-3", "shelve", condition="warm", for_="2h")
    bell.on(30).over("tank-3", "warm")
    bell.on(120)
    assert bell.steps(WARM) == ["raised", "shelved", "unshelved"] and len(bell.pages()) == 1


def test_shelving_anew_sets_the_time_anew() -> None:
    bell = Bell()
    bell.find("tank-3", "warm")
    bell.log("tank-3", "shelve", condition="warm", for_="1h")
    bell.on(30).log("tank-3", "shelve", condition="warm", for_="2h")
    bell.on(119)
    assert bell.steps(WARM) == ["raised", "shelved", "shelved"]
    bell.on(1)
    assert bell.steps(WARM)[-1] == "unshelved"


def test_taking_it_from_the_shelf_ends_the_silence_at_once() -> None:
    bell = Bell()
    bell.log("tank-3", "shelve", condition="warm", for_="12h")
    bell.find("tank-3", "warm")
    assert not bell.pages()
    bell.on(10).log("tank-3", "unshelve", condition="warm")
    assert bell.steps(WARM) == ["shelved", "unshelved"] and len(bell.pages()) == 1
    bell.on(12 * 60)
    assert bell.steps(WARM).count("unshelved") == 1


def once(bell: Bell, for_: str = "12h") -> Bell:
    """The warm tank is to be quiet until it is over."""
    bell.find("tank-3", "warm")
    bell.log("tank-3", "shelve", condition="warm", for_=for_, once=True, reason="lid off")
    return bell


def test_quiet_until_it_is_over_ends_when_it_is_over() -> None:
    # IEC 62682:2014, one-shot shelving (from memory): until the alarm returns to normal
    bell = once(Bell())
    bell.on(90).over("tank-3", "warm")
    assert bell.steps(WARM) == ["raised", "shelved", "normal"] and len(bell.pages()) == 1
    bell.on(30).find("tank-3", "warm")
    assert bell.steps(WARM)[-1] == "raised" and len(bell.pages()) == 2, "the next time it rings"


def test_quiet_until_it_is_over_lasts_no_longer_than_was_said() -> None:
    bell = once(Bell(), for_="2h")
    bell.on(120)
    assert bell.steps(WARM) == ["raised", "shelved", "unshelved"] and len(bell.pages()) == 2
    bell.over("tank-3", "warm")
    bell.on(12 * 60)
    assert bell.steps(WARM).count("unshelved") == 1


def test_quiet_for_what_has_yet_to_come_lasts_through_it() -> None:
    """Before the lid is opened: it comes and goes unheard, and the shelf goes with it."""
    bell = Bell()
    bell.log("tank-3", "shelve", condition="warm", for_="12h", once=True)
    bell.on(10).find("tank-3", "warm")
    bell.on(10).over("tank-3", "warm")
    assert bell.steps(WARM) == ["shelved", "normal"] and not bell.pages()


def test_a_shelf_by_the_clock_outlasts_what_comes_and_goes() -> None:
    bell = once(Bell())
    bell.log("tank-3", "shelve", condition="warm", for_="2h")
    bell.over("tank-3", "warm")
    assert bell.steps(WARM)[-1] == "shelved", "shelved anew, and no longer only once"


def test_why_it_is_quiet_is_known_while_it_is() -> None:
    bell = once(Bell())
    alarm = bell.engine.alarm_manager.alarm("tank-3", "warm")
    assert (alarm.once, alarm.reason) == (True, "lid off")
    bell.log("tank-3", "unshelve", condition="warm")
    assert (alarm.once, alarm.reason) == (False, None)


def trends(bell: Bell) -> int:
    """How often the tank's trend rang."""
    return sum("tank-3/trending-warm" in page.alarms for page in bell.pages())


@pytest.mark.parametrize("back", ["unshelve", "in-service", "by itself"])
def test_what_its_cooler_explains_does_not_ring_when_it_comes_back(back: str) -> None:
    bell = Bell()
    if back == "in-service":
        bell.find("tank-3", "trending-warm")
        bell.log("tank-3", "out-of-service", reason="washed")
    else:
        bell.log("tank-3", "shelve", condition="trending-warm", for_="2h")
        bell.find("tank-3", "trending-warm")
    bell.on(10).find("chiller-1", "stopped")
    rung = trends(bell)
    if back == "by itself":
        bell.on(120)
    else:
        bell.on(10).log("tank-3", back, condition="trending-warm")
    steps = bell.steps("tank-3/trending-warm")
    told = "in-service" if back == "in-service" else "unshelved"
    assert steps[-2:] == [told, "suppressed"] and trends(bell) == rung
    bell.on(10).over("chiller-1", "stopped")
    assert bell.steps("tank-3/trending-warm")[-1] == "released"
    assert trends(bell) == rung + 1


def test_in_the_dark_a_probe_that_comes_off_its_shelf_rings_nobody() -> None:
    bell = Bell()
    bell.log("t3-mid", "shelve", condition="silent", for_="2h")
    bell.find("t3-mid", "silent")
    bell.find("watch", "dark")
    bell.on(120)
    assert bell.steps("t3-mid/silent") == ["shelved", "unshelved", "suppressed"]


def test_out_of_service_leaves_the_list_and_comes_back_as_it_stands() -> None:
    bell = Bell()
    bell.find("tank-3", "warm")
    bell.log("tank-3", "out-of-service", reason="being washed")
    bell.on(600)
    assert bell.steps(WARM) == ["raised", "out-of-service"] and len(bell.pages()) == 1
    bell.log("tank-3", "in-service")
    assert bell.steps(WARM)[-1] == "in-service"
    assert bell.rings(bell.now) == [(0.0, "aki")]


def test_out_of_service_and_cooled_down_comes_back_in_silence() -> None:
    night = mashing()
    night.run(30).told["t3-mid"] = 10.8
    night.run(90).log("tank-3", "out-of-service")
    night.told["t3-mid"] = 10.0
    night.run(60).log("tank-3", "in-service")
    before = len(night.pages())
    night.run(2 * HOUR / 60)
    assert night.steps(WARM) == ["raised", "out-of-service", "in-service"]
    assert len(night.pages()) == before


def test_an_alarm_that_is_no_condition_is_refused_with_those_that_are() -> None:
    bell = Bell()
    with pytest.raises(AssertionError, match="condition"):
        bell.log("tank-3", "acknowledge", condition="warmish")


# ------------------------------------------------------- whatever happens, against the standard


class Hearing:
    """Hears each step, and keeps what is to be looked at when its time comes."""

    def __init__(self) -> None:
        self.steps: dict[tuple[str, str], list[str]] = {}
        self.agenda: list[tuple[float, Alarm]] = []
        self.joins: tuple[Alarm, Alarm] | None = None
        """The first shares the hands of the second as soon as it rings."""

    def stepped(self, alarm: Alarm, step: str, at: float, by: str | None) -> Alarm | None:
        self.steps.setdefault((alarm.subject, alarm.condition), []).append(step)
        joins, self.joins = self.joins, None
        if joins is not None and joins[0] is alarm and alarm.state is State.UNACKNOWLEDGED:
            return joins[1]
        return None

    def answered_with(self, alarm: Alarm) -> list[tuple[Alarm, bool]]:
        return []

    def joined(self, alarm: Alarm, at: float) -> None:
        assert alarm.state is State.ACKNOWLEDGED

    def over(self, alarm: Alarm, at: float) -> None:
        assert not alarm.active

    def promised(self, alarm: Alarm, until: float) -> None:
        self.agenda.append((until, alarm))


picks = st.integers(0, 15)
hours = st.integers(1, 6)
seldom = st.integers(0, 2).map(lambda number: number == 0)
worse = st.none() | st.integers(1, 8).map(lambda quarter: quarter / 4)
subjects = st.sampled_from(sorted({kind.subject for kind in KINDS}))


class Lives(RuleBasedStateMachine):
    """Alarms of one house: found, answered, shelved, explained, taken out of service."""

    @initialize()
    def begins(self) -> None:
        self.now = DUSK
        self.state = HouseState(brewery(), DUSK)
        self.hearing = Hearing()
        self.manager = AlarmManager(HouseView(self.state), {}, self.hearing)
        self.standard = Standard()
        self.out: set[str] = set()

    def alarm(self, one: Standing) -> Alarm:
        return self.manager.alarm(one.kind.subject, one.kind.condition)

    def find(self, one: Standing, holds: bool, worse: float | None = None) -> None:
        """It holds, or holds no more, before anybody hears of it."""
        key = one.kind.subject, one.kind.condition
        (self.state.standing.add if holds else self.state.standing.discard)(key)
        self.manager.take(Finding(*key, holds, self.now, worse=worse))

    def on(self, minutes: float = 1 / 60) -> None:
        """What falls due meanwhile is looked at, each at its own time."""
        self.now += minutes * MINUTE
        shelves = [(a.until, a) for a in self.manager.alarms.values() if a.until is not None]
        for at, alarm in sorted(self.hearing.agenda + shelves, key=lambda due: due[0]):
            if at <= self.now:
                self.manager.promise_due(alarm.subject, alarm.condition, at)
                self.manager.shelf_ends(alarm.subject, alarm.condition, at)
        self.hearing.agenda = [due for due in self.hearing.agenda if due[0] > self.now]
        self.standard.time_is(self.now)

    @rule(minutes=st.sampled_from([10, 30, 60, 180]))
    def time_passes(self, minutes: int) -> None:
        self.on(minutes)

    @rule(kind=st.sampled_from(KINDS), worse=worse, joins=st.booleans())
    def it_is_found(self, kind: Kind, worse: float | None, joins: bool) -> None:
        if kind.subject in self.out:
            return
        self.on()
        one = self.standard.alarms[kind.subject, kind.condition]
        # Only what is new may join; what is known and got worse is told by itself.
        held = self.standard.in_hand(one) if joins and not one.life.active else None
        self.hearing.joins = None if held is None else (self.alarm(one), self.alarm(held))
        self.find(one, True, worse)
        self.hearing.joins = None
        self.standard.occurs(one, self.now, worse, joins)

    @rule(pick=picks, worse=worse)
    def it_is_heard_how_bad_it_is(self, pick: int, worse: float | None) -> None:
        active = [one for one in self.standard.alarms.values() if one.life.active]
        if active:
            self.on()
            one = active[pick % len(active)]
            self.find(one, True, worse)
            self.standard.occurs(one, self.now, worse, joins=False)

    @rule(pick=picks)
    def it_is_over(self, pick: int) -> None:
        active = [one for one in self.standard.alarms.values() if one.life.active]
        if active:
            self.on()
            one = active[pick % len(active)]
            self.find(one, False)
            self.standard.returns(one, self.now)

    @rule(
        pick=picks,
        whole=st.booleans(),
        hours=st.none() | hours,
        who=st.sampled_from(["aki", "ken"]),
    )
    def somebody_has_it(self, pick: int, whole: bool, hours: int | None, who: str) -> None:
        self.on()
        listed = [one.kind for one in self.standard.alarms.values() if one.life.code != "NORM"]
        kind = (listed or KINDS)[pick % len(listed or KINDS)]
        condition = None if whole else kind.condition
        within = None if hours is None else hours * HOUR
        self.manager.acknowledge(kind.subject, condition, self.now, who, within)
        self.standard.acknowledged(kind.subject, condition, self.now, who, within)

    @rule(
        kind=st.sampled_from(KINDS), hours=hours, once=st.booleans(), off=st.booleans(),
        really=seldom,
    )  # fmt: skip
    def shelved(self, kind: Kind, hours: int, once: bool, off: bool, really: bool) -> None:
        """Or taken from the shelf."""
        if not really:
            return
        self.on()
        one, until = self.standard.alarms[kind.subject, kind.condition], self.now + hours * HOUR
        if off:
            self.manager.unshelve(kind.subject, kind.condition, self.now)
            self.standard.unshelved(one, self.now)
        else:
            self.manager.shelve(kind.subject, kind.condition, self.now, until, "aki", once)
            self.standard.shelved(one, until, once)

    @rule(subject=subjects, really=seldom)
    def taken_out_of_service_or_put_back(self, subject: str, really: bool) -> None:
        if not really:
            return
        self.on()
        if subject in self.out:
            self.out.remove(subject)
            self.manager.restore(subject, self.now, "aki")
            self.standard.in_service(subject, self.now)
        else:
            self.out.add(subject)
            self.manager.remove(subject, self.now, "aki")
            self.standard.out_of_service(subject)

    @invariant()
    def every_alarm_is_where_the_standard_says(self) -> None:
        if not hasattr(self, "standard"):
            return
        for key, one in self.standard.alarms.items():
            alarm = self.alarm(one)
            assert (alarm.state.value, alarm.active) == (one.life.code, one.life.active), key
            assert self.hearing.steps.get(key, []) == one.steps, key
            if one.life.code == "ACKED":
                assert (alarm.by, alarm.in_hand_until) == (one.by, one.promise), key
            if one.life.code == "UNACK":
                assert (alarm.by, alarm.in_hand_until) == (None, None), key
            if one.life.code == "SHLVD":
                assert (alarm.until, alarm.once) == one.shelf, key


TestLives = Lives.TestCase
TestLives.settings = settings(max_examples=50, stateful_step_count=40)


@pytest.mark.parametrize("condition", ["unwatched", "stage-overdue"])
def test_what_lies_on_no_side_of_the_plan_need_not_turn(condition: str) -> None:
    """Nothing warms or cools there: whoever has it has it until it is over."""
    bell = brewing(Bell())
    bell.find("tank-3", condition)
    bell.log("tank-3", "acknowledge", condition=condition, by="aki")
    assert bell.engine.alarm_manager.alarm("tank-3", condition).in_hand_until is None
    bell.on(24 * 60)
    assert "realarmed" not in bell.steps(f"tank-3/{condition}")


def test_a_cooler_that_only_switches_too_often_need_not_turn() -> None:
    bell = Bell()
    bell.find("chiller-1", "short-cycling")
    bell.log("chiller-1", "acknowledge", by="ken")
    assert bell.engine.alarm_manager.alarm("chiller-1", "short-cycling").in_hand_until is None


def test_a_room_or_store_in_hand_has_three_hours() -> None:
    bell = Bell()
    bell.find("store", "warm", worse=2.0)
    bell.log("store", "acknowledge", by="ken")
    assert bell.engine.alarm_manager.alarm("store", "warm").in_hand_until == bell.now + 3 * HOUR


def test_an_answer_names_what_it_answered() -> None:
    """Those that rang or had returned unseen; not what somebody has already."""
    bell = Bell()
    for condition in ("warm", "unwatched"):
        bell.find("tank-3", condition)
    manager = bell.engine.alarm_manager
    answered = manager.acknowledge("tank-3", None, bell.now, "aki", None)
    assert [alarm.condition for alarm in answered] == ["warm", "unwatched"]
    assert manager.acknowledge("tank-3", None, bell.now, "aki", None) == []


def test_a_shelf_of_which_nothing_else_is_said_lasts_its_whole_time() -> None:
    bell = Bell()
    bell.find("tank-3", "warm")
    bell.engine.alarm_manager.shelve("tank-3", "warm", bell.now, bell.now + HOUR, "aki")
    bell.over("tank-3", "warm")
    assert bell.engine.alarm_manager.alarm("tank-3", "warm").state is State.SHELVED


def test_worse_by_just_its_deadband_is_worse() -> None:
    bell = in_hand(worse=0.5)
    bell.on(10).find("tank-3", "warm", worse=0.6)
    assert bell.steps(WARM)[-1] == "realarmed"
