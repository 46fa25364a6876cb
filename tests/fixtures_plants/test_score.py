"""The scorer counts what a tired person would count, on timelines of a few lines."""

from __future__ import annotations

from typing import Any

from fixtures.plants.base import stamp
from fixtures.plants.score import score

START = 1_770_000_000.0
MINUTE = 60.0
HOUR = 3600.0


def tell(rank: str, subject: str, *conditions: str, since: float, until: float = 12 * HOUR,
         role: str = "brewer", wake: bool = True, due: float | None = None,
         by: float | None = None) -> dict[str, Any]:  # fmt: skip
    return {
        "rank": rank, "subjects": [subject], "conditions": list(conditions),
        "since": START + since, "until": START + until, "roles": [role], "wake": wake,
        "due": None if due is None else START + due,
        "must_by": None if by is None else START + by,
    }  # fmt: skip


def truth(*tells: dict[str, Any], what: str = "valve-stuck-shut", subject: str = "tank-1",
          allowed: tuple[dict[str, Any], ...] = ()) -> dict[str, Any]:  # fmt: skip
    event = {"what": what, "subject": subject, "began": START, "ended": None, "tells": list(tells)}
    return {
        "plant": "hand", "kind": what, "seed": 0, "from": START, "until": START + 12 * HOUR,
        "first_probe": {"tank-1": "t1-mid", "tank-2": "t2-mid"}, "people": ["aki", "ken"],
        "events": [event], "allowed": list(allowed), "quiet": [], "planned": {},
    }  # fmt: skip


def line(at: float, alarm: str, step: str = "page", role: str = "brewer", urgency: str = "wake",
         person: str = "aki") -> dict[str, Any]:  # fmt: skip
    told = {"at": stamp(START + at), "step": step, "urgency": urgency, "alarm": alarm, "text": ""}
    if step != "raised":
        told |= {"role": role, "person": person}
    return told


WARM = tell("must", "tank-1", "warm", "far-warm", since=3 * HOUR, due=4 * HOUR, by=5 * HOUR)


def test_a_true_drift_told_in_time_is_right() -> None:
    found = score(truth(WARM), [line(4 * HOUR + 10 * MINUTE, "tank-1/warm")])
    assert (found.false_wakes, found.asked, found.missed, found.late) == (0, 1, 0, 0)
    assert found.minutes == [10.0]


def test_a_drift_that_nobody_told_is_missed() -> None:
    found = score(truth(WARM), [])
    assert (found.missed, found.missed_wakes, found.minutes) == (1, 1, [])


def test_a_drift_on_the_list_alone_wakes_nobody_and_is_missed() -> None:
    assert score(truth(WARM), [line(4 * HOUR, "tank-1/warm", "raised")]).missed == 1


def test_told_after_its_time_is_late_and_not_missed() -> None:
    found = score(truth(WARM), [line(5.5 * HOUR, "tank-1/warm")])
    assert (found.missed, found.late, found.minutes) == (0, 1, [90.0])


def test_a_ring_long_before_the_product_left_is_false_and_answers_nothing() -> None:
    found = score(truth(WARM), [line(1.0 * HOUR, "tank-1/warm")])
    assert (found.false_wakes, found.missed) == (1, 1)


def test_the_wrong_side_and_the_wrong_tank_are_false() -> None:
    rings = [line(4 * HOUR, "tank-1/cold"), line(4 * HOUR, "tank-2/warm")]
    assert score(truth(WARM), rings).false_wakes == 2


def test_the_rungs_of_one_ladder_are_one_false_wake() -> None:
    rings = [line(m * MINUTE, "tank-2/warm", person=p)
             for m, p in ((60, "aki"), (70, "aki"), (90, "ken"), (120, "ken"))]  # fmt: skip
    rings.append(line(110 * MINUTE, "tank-2/far-warm"))
    found = score(truth(), rings)
    assert found.false_wakes == 1
    assert found.pages == {"aki": 3, "ken": 2}
    assert found.incidents == 1


def test_the_same_tank_three_hours_on_is_another_wake() -> None:
    rings = [line(1 * HOUR, "tank-2/warm"), line(4 * HOUR, "tank-2/warm")]
    assert score(truth(), rings).false_wakes == 2


def test_an_arguable_ring_is_counted_apart() -> None:
    doubt = tell("arguable", "tank-2", "warm", since=0)
    found = score(truth(allowed=(doubt,)), [line(1 * HOUR, "tank-2/warm")])
    assert (found.false_wakes, found.arguable_wakes) == (0, 1)


def test_an_arguable_ring_shortly_before_answers_the_truth_all_the_same() -> None:
    doubt = tell("arguable", "tank-1", "warm", since=2 * HOUR)
    found = score(truth(WARM, allowed=(doubt,)), [line(2.5 * HOUR, "tank-1/warm")])
    assert (found.missed, found.arguable_wakes, found.minutes) == (0, 1, [-90.0])
    assert found.early == 1


def test_an_alarm_that_was_rightly_told_long_before_and_still_stands_is_an_answer() -> None:
    first = tell("right", "tank-1", "far-warm", since=0, until=HOUR)
    rings = [line(0.5 * HOUR, "tank-1/far-warm")]
    assert score(truth(first, WARM), rings).missed == 0
    rings.append(line(0.8 * HOUR, "tank-1/far-warm", "returned"))
    assert score(truth(first, WARM), rings).missed == 1


def test_one_message_of_several_alarms_is_as_good_as_its_best() -> None:
    ring = line(4 * HOUR, "tank-1/warm")
    ring["alarms"] = ["tank-2/warm", ring.pop("alarm")]
    assert score(truth(WARM), [ring]).false_wakes == 0


def test_maintenance_is_told_by_a_soundless_message_as_well() -> None:
    must = tell("must", "chiller-1", "stopped", "not-cooling", since=0, role="maintenance",
                due=HOUR, by=2 * HOUR)  # fmt: skip
    quiet = line(HOUR, "chiller-1/stopped", "notice", "maintenance", "wake", "ken")
    assert score(truth(must), [quiet]).missed == 0
    assert score(truth(must), [line(HOUR, "chiller-1/stopped", "raised")]).missed == 1


def test_a_false_word_to_maintenance_counts_loud_or_soft() -> None:
    words = [line(HOUR, "chiller-1/stopped", "notice", "maintenance", "wake", "ken"),
             line(HOUR, "t2-mid/stuck", "page", "maintenance", "duty", "ken")]  # fmt: skip
    found = score(truth(), words)
    assert (found.false_maintenance, found.false_wakes) == (2, 0)


def test_what_can_wait_may_stand_on_the_list_until_the_morning() -> None:
    must = tell("must", "t1-mid", "silent", since=0, role="maintenance", wake=False, due=HOUR,
                by=2 * HOUR)  # fmt: skip
    assert score(truth(must), [line(1.5 * HOUR, "t1-mid/silent", "raised")]).missed == 0


def test_a_probe_in_the_air_told_as_cold_is_counted_as_that() -> None:
    told = truth(what="probe-in-air", subject="t1-mid")
    found = score(told, [line(HOUR, "tank-1/cold"), line(HOUR, "tank-2/cold")])
    assert (found.false_wakes, found.displaced_as_product) == (2, 1)


def test_reports_that_name_no_alarm_are_no_messages_of_an_alarm() -> None:
    report = {"at": stamp(START + HOUR), "step": "notice", "role": "brewer", "person": "aki",
              "urgency": "log", "text": "the night in short"}  # fmt: skip
    found = score(truth(), [report])
    assert not found.false_duty and not found.pages


def test_scores_add_up() -> None:
    first = score(truth(WARM), [line(4 * HOUR, "tank-1/warm")])
    first.add(score(truth(WARM), []))
    assert (first.nights, first.asked, first.missed, first.people) == (2, 2, 1, 4)
    assert first.pages == {"aki": 1}
