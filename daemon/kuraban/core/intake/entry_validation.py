"""Whether an entry fits the house: is it about such a thing, and is what it names there?

Each refusal is a ValueError that names what would be right, the nearest name first.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from itertools import pairwise

from kuraban.core import entries
from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.entries import LONGEST_QUIET, Entry, kind_of
from kuraban.core.intake.payload import nearest, show
from kuraban.core.rota import has_duty
from kuraban.core.site import WATCH, House
from kuraban.core.timescale import wall_of
from kuraban.core.units import AHEAD, BOARD_EPOCH, brewery_day, show_duration

BREW = "a place that brews"
PLACE = "a place"
PLACE_OR_PROBE = "a place or a probe"
IN_USE = "a place, a cooler or a probe"
ANYTHING = "anything"
THE_WATCH = "the watch"

SUBJECTS: dict[str, str] = {
    "batch-start": BREW, "stage": BREW, "hold": BREW, "aim": BREW, "plan": BREW,
    "let-run": PLACE, "batch-end": BREW, "press": BREW, "move": BREW, "split": BREW,
    "merge": BREW, "stir": BREW, "addition": BREW, "cask-in": BREW, "cask-out": BREW,
    "handwork": BREW,
    "probe-out": PLACE_OR_PROBE, "probe-in": PLACE_OR_PROBE, "check": PLACE, "sample": BREW,
    "look": BREW, "best": BREW, "served-by": PLACE, "acknowledge": ANYTHING, "shelve": ANYTHING,
    "unshelve": ANYTHING, "out-of-service": IN_USE, "in-service": IN_USE, "verdict": ANYTHING,
    "duty-swap": THE_WATCH, "take-back": ANYTHING, "amend": ANYTHING, "confirm": ANYTHING,
    "note": ANYTHING,
}  # fmt: skip
"""What each kind of entry is made about."""


def no_subject(name: str, house: House, wanted: str = "subject") -> str:
    """Why a name is no probe, or no subject at all, of the house, and what would be right."""
    if wanted == "probe":
        if name in house.probe:
            return f"probe {name} speaks on its own topic {show(house.probe[name].topic)}"
        if name in house.place or name in house.cooler:
            probes = ", ".join(probe.id for probe in house.probes_of(name)) or "none"
            return f"{name} is no probe; the probes on it are {probes}"
        return f"there is no probe {show(name)}; there are {nearest(name, house.probe)}"
    known = (WATCH, *house.place, *house.cooler, *house.probe)
    return f"there is no {wanted} {show(name)}; there are {nearest(name, known)}"


def check_subject(name: str, subject: str, house: House) -> None:
    """Raise unless an entry of this name can be about this subject."""
    kind = _kind_of_subject(subject, house)
    if not _suits(SUBJECTS[name], subject, house):
        raise ValueError(f"{name} is about {SUBJECTS[name]}, and {subject} is {kind}")


def check_entry(entry: Entry, subject: str, house: House, at: float) -> None:
    """Raise unless what an entry, made at `at` about a fitting subject, names is there."""
    check = _CHECKS.get(kind_of(entry))
    if check is not None:
        check(entry, subject, house, at)


def _kind_of_subject(subject: str, house: House) -> str:
    if subject in house.place:
        return f"a {house.place[subject].kind}"
    if subject in house.cooler:
        return "a heater" if house.cooler[subject].heats else "a cooler"
    if subject in house.probe:
        return "a probe"
    if subject == WATCH:
        return "the watch itself"
    raise ValueError(no_subject(subject, house))


def _suits(wanted: str, subject: str, house: House) -> bool:
    place = house.place.get(subject)
    if wanted == BREW:
        return place is not None and place.brews
    if wanted == THE_WATCH:
        return subject == WATCH
    if wanted == PLACE:
        return place is not None
    if wanted == PLACE_OR_PROBE:
        return place is not None or subject in house.probe
    return wanted == ANYTHING or subject != WATCH


_Check = Callable[[Entry, str, House, float], None]


def _check_since(since: float | None, house: House, at: float) -> None:
    if since is None:
        return
    if since > at + AHEAD or wall_of(since, house.zone) < BOARD_EPOCH:
        raise ValueError("since lies ahead of the entry or before 2020; say when the stage began")


def _batch_start(entry: Entry, subject: str, house: House, at: float) -> None:
    assert isinstance(entry, entries.BatchStart)
    course = house.course.get(entry.course)
    place = house.place[subject]
    if course is None:
        known = nearest(entry.course, house.course)
        raise ValueError(f"there is no course {show(entry.course)}; there are {known}")
    if place.kind not in course.for_:
        fit = [other.id for other in house.courses if place.kind in other.for_]
        raise ValueError(
            f"course {course.id} is for {' or '.join(course.for_)}, and {subject} is a "
            f"{place.kind}; for it there are {nearest(course.id, fit)}"
        )
    if entry.stage is not None and course.index(entry.stage) is None:
        known = nearest(entry.stage, [stage.id for stage in course.stages], 40)
        raise ValueError(f"{course.id} has no stage {show(entry.stage)}; its stages are {known}")
    _check_since(entry.since, house, at)


def _stage(entry: Entry, subject: str, house: House, at: float) -> None:
    assert isinstance(entry, entries.StageMark)
    _check_since(entry.since, house, at)


def _aim(entry: Entry, subject: str, house: House, at: float) -> None:
    assert isinstance(entry, entries.Aim)
    if entry.by <= at:
        raise ValueError("by lies before the entry itself; say when the aim is to be reached")


def _plan(entry: Entry, subject: str, house: House, at: float) -> None:
    assert isinstance(entry, entries.Plan)
    times = [when for when, _ in entry.points]
    if any(later <= earlier for earlier, later in pairwise(times)):
        raise ValueError("points are not in order of time; each comes after the one before it")
    if times[-1] <= at:
        raise ValueError("points end before the entry itself; say where the plan goes from now")


def _quiet(entry: Entry, subject: str, house: House, at: float) -> None:
    assert isinstance(entry, (entries.LetRun, entries.Shelve))
    if entry.for_ > LONGEST_QUIET:
        raise ValueError(
            f"{kind_of(entry)} for {show_duration(entry.for_)} is too long; at most 12h is right"
        )


def _other_place(entry: Entry, subject: str, house: House, at: float) -> None:
    assert isinstance(entry, (entries.Move, entries.Split, entries.Merge))
    if isinstance(entry, entries.Split):
        goals: tuple[str, ...] = entry.to
    else:
        goals = (entry.to if isinstance(entry, entries.Move) else entry.into,)
    brewing = [place.id for place in house.places if place.brews and place.id != subject]
    for goal in goals:
        if goal not in brewing and not (isinstance(entry, entries.Split) and goal == subject):
            raise ValueError(
                f"{show(goal)} is no other place that brews; there are {nearest(goal, brewing)}"
            )
    if len(set(goals)) < len(goals):
        raise ValueError("to names a place twice; name each once")


def _press(entry: Entry, subject: str, house: House, at: float) -> None:
    assert isinstance(entry, entries.Press)
    tanks = [one.id for one in house.places if one.kind == "tank" and one.id != subject]
    for goal in entry.to:
        if goal not in tanks:
            raise ValueError(f"{show(goal)} is no other tank; there are {nearest(goal, tanks)}")
    if len(set(entry.to)) < len(entry.to):
        raise ValueError("to names a place twice; name each once")


def _served_by(entry: Entry, subject: str, house: House, at: float) -> None:
    assert isinstance(entry, entries.ServedBy)
    if entry.cooler not in house.cooler:
        known = nearest(entry.cooler, house.cooler)
        raise ValueError(f"there is no cooler {show(entry.cooler)}; there are {known}")


def _duty_swap(entry: Entry, subject: str, house: House, at: float) -> None:
    assert isinstance(entry, entries.DutySwap)
    for person in (entry.from_, entry.to):
        if person not in house.person:
            known = nearest(person, house.person)
            raise ValueError(f"there is no person {show(person)}; there are {known}")
    if entry.from_ == entry.to:
        raise ValueError("from and to are the same person; name two")
    try:
        day = date.fromisoformat(entry.day)
    except ValueError:
        raise ValueError(f'{show(entry.day)} is no day; write one such as "2026-02-01"') from None
    if day < brewery_day(at, house.site.day_starts, house.zone):
        raise ValueError(f"{entry.day} is over; only duties to come can be swapped")
    roles = dict.fromkeys(
        [duty.role for duty in house.rota] + [shift.role for shift in house.shifts]
    )
    if entry.role is not None and entry.role not in roles:
        raise ValueError(f"there is no role {show(entry.role)}; there are {', '.join(roles)}")
    if not any(has_duty(house, who, entry.role, day) for who in (entry.from_, entry.to)):
        duty = "duty" if entry.role is None else f"duty as {entry.role}"
        raise ValueError(
            f"neither {entry.from_} nor {entry.to} is on {duty} on {entry.day}; "
            "name a day on which one of them is"
        )


def _condition(entry: Entry, subject: str, house: House, at: float) -> None:
    assert isinstance(entry, (entries.Acknowledge, entries.Shelve, entries.Unshelve))
    owner = _owner(subject, house)
    known = [name for name, condition in CONDITIONS.items() if condition.owner == owner]
    if entry.condition is not None and entry.condition not in known:
        raise ValueError(
            f"a {owner} has no condition {show(entry.condition)}; "
            f"there are {nearest(entry.condition, known, 20)}"
        )
    if isinstance(entry, entries.Shelve):
        _quiet(entry, subject, house, at)


def _owner(subject: str, house: House) -> str:
    if subject in house.place:
        return "place"
    if subject in house.cooler:
        return "cooler"
    return "probe" if subject in house.probe else WATCH


_CHECKS: dict[str, _Check] = {
    "acknowledge": _condition,
    "shelve": _condition,
    "unshelve": _condition,
    "batch-start": _batch_start,
    "duty-swap": _duty_swap,
    "stage": _stage,
    "aim": _aim,
    "plan": _plan,
    "let-run": _quiet,
    "press": _press,
    "move": _other_place,
    "split": _other_place,
    "merge": _other_place,
    "served-by": _served_by,
}
