"""What a rehearsal alters, as it is typed: KEY=VALUE, one change each.

    tolerance=0.6                     every stage of every course
    tolerance=+0.1                    a sign before it: so much more or less than each has
    night-slow.delay=90m              every stage of one course
    night-slow.moromi.tolerance.below=0.8      one stage, one side
    cold-store.band=1..9              a banded place, or a cooler; its `delay` likewise
    trending-warm=off                 the rule left out

A tolerance widened past its limit takes the limit along, and a notice never reaches beyond its
tolerance, as in a course file.
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable
from typing import NamedTuple, NoReturn, TypeVar

import msgspec

from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.planned_curve import Course, Sides, Stage
from kuraban.core.site import Cooler, House, Place
from kuraban.core.units import parse_duration
from kuraban.errors import ConfigurationError, Fault

DEGREES = ("tolerance", "notice", "limit")
TIMES = ("delay", "limit_delay", "settle")
STAGE_KEYS = (*DEGREES, *TIMES)
SIDES = ("below", "above")
BANDED_KEYS = ("band", "delay")
Banded = TypeVar("Banded", Place, Cooler)


class Change(NamedTuple):
    """One alteration; `figure` in K or seconds, added to what is there where `relative`."""

    text: str
    key: str
    course: str = ""
    """Empty: all of them."""
    stage: str = ""
    side: str = ""
    subject: str = ""
    """A banded place or a cooler instead of courses."""
    figure: float = 0.0
    band: tuple[float, float] | None = None
    relative: bool = False

    @property
    def leaves_out(self) -> bool:
        """Whether it is a condition that is told no more."""
        return self.key in CONDITIONS


def read_changes(texts: Iterable[str], house: House) -> tuple[Change, ...]:
    """The changes that were typed; ConfigurationError with every fault of them."""
    found: list[Change] = []
    faults: list[Fault] = []
    for text in texts:
        try:
            found.append(_read(text, house))
        except ConfigurationError as error:
            faults += error.faults
    if faults:
        raise ConfigurationError(faults)
    return tuple(found)


def _read(text: str, house: House) -> Change:
    name, equals, value = (part.strip() for part in text.partition("="))
    if not equals or not name or not value:
        _refuse(text, "is no change", 'write KEY=VALUE such as "tolerance=0.6" or "delay=90m"')
    if name in CONDITIONS:
        if value != "off":
            _refuse(text, f'"{value}" is no rule', f'write "{name}=off" to leave it out')
        return Change(text, name)
    *where, key = name.split(".")
    side = ""
    if key in SIDES and where:
        side, key = key, where.pop()
    change = Change(text, key, side=side)
    if len(where) == 1 and where[0] not in house.course and _bands(house, where[0]):
        return _banded(change._replace(subject=where[0]), value)
    return _staged(change, where, value, house)


def _bands(house: House, subject: str) -> bool:
    return subject in house.cooler or (subject in house.place and not house.place[subject].brews)


def _banded(change: Change, value: str) -> Change:
    if change.key not in BANDED_KEYS or change.side:
        _refuse(change.text, f"{change.subject} has no such key", _nearest(change.key, BANDED_KEYS))
    if change.key == "delay":
        return _figure(change, value)
    low, dots, high = value.partition("..")
    try:
        band = float(low), float(high if dots else "")
    except ValueError:
        _refuse(change.text, f'"{value}" is no band', 'write it as "1..8"')
    if not band[0] < band[1]:
        _refuse(change.text, f'"{value}" is no band', "the lower edge comes first")
    return change._replace(band=band)


def _staged(change: Change, where: list[str], value: str, house: House) -> Change:
    if change.key not in STAGE_KEYS:
        known = (*STAGE_KEYS, *CONDITIONS)
        _refuse(change.text, f'"{change.key}" cannot be changed', _nearest(change.key, known))
    if change.side and change.key not in DEGREES:
        _refuse(change.text, "a time has no side", f'write "{change.key}" alone')
    if len(where) > 2:
        _refuse(change.text, "names too much", f'write "COURSE.STAGE.{change.key}" at most')
    course, stage = (*where, "", "")[:2]
    if course and course not in house.course:
        known = (*house.course, *house.place, *house.cooler)
        _refuse(change.text, f'there is no course "{course}"', _nearest(course, known))
    stages = [shape.id for shape in house.course[course].stages] if course else []
    if stage and stage not in stages:
        _refuse(change.text, f'{course} has no stage "{stage}"', _nearest(stage, stages))
    return _figure(change._replace(course=course, stage=stage), value)


def _figure(change: Change, value: str) -> Change:
    relative = value[0] in "+-"
    bare = value[1:] if relative else value
    sign = -1.0 if value[0] == "-" else 1.0
    try:
        figure = float(bare) if change.key in DEGREES else parse_duration(bare)
    except ValueError:
        right = '"0.6"' if change.key in DEGREES else '"90m"'
        _refuse(
            change.text, f'"{value}" cannot be read', f"write {right}, or with + or - before it"
        )
    if not 0 <= figure < 1e9:
        _refuse(change.text, f'"{value}" cannot be {change.key}', "write a figure not below 0")
    return change._replace(figure=sign * figure, relative=relative)


def _refuse(text: str, wrong: str, right: str) -> NoReturn:
    raise ConfigurationError([Fault("command line", f"--with {text}", wrong, right)])


def _nearest(word: str, known: Collection[str]) -> str:
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    return f'did you mean "{close[0]}"?' if close else f"there are {', '.join(known)}"


def changed(house: House, changes: Iterable[Change]) -> House:
    """The house with the changes made, in their order; what an older house lacks is passed over."""
    for change in changes:
        if change.leaves_out:
            continue
        if change.subject:
            house = msgspec.structs.replace(
                house,
                places=tuple(_with_band(place, change) for place in house.places),
                coolers=tuple(_with_band(cooler, change) for cooler in house.coolers),
            )
        else:
            courses = tuple(_with_stages(course, change) for course in house.courses)
            house = msgspec.structs.replace(house, courses=courses)
    return house


def _with_band(one: Banded, change: Change) -> Banded:
    if one.id != change.subject:
        return one
    if change.band is not None:
        return msgspec.structs.replace(one, band=change.band)
    return msgspec.structs.replace(one, delay=_moved(one.delay, change))


def _with_stages(course: Course, change: Change) -> Course:
    if change.course not in ("", course.id):
        return course
    stages = tuple(
        _with_figure(stage, change) if change.stage in ("", stage.id) else stage
        for stage in course.stages
    )
    return msgspec.structs.replace(course, stages=stages)


def _with_figure(stage: Stage, change: Change) -> Stage:
    old: Sides | float = getattr(stage, change.key)
    if not isinstance(old, Sides):
        return msgspec.structs.replace(stage, **{change.key: _moved(old, change)})
    sides = Sides(
        old.below if change.side == "above" else _moved(old.below, change),
        old.above if change.side == "below" else _moved(old.above, change),
    )
    return _nested(msgspec.structs.replace(stage, **{change.key: sides}), change.key)


def _nested(stage: Stage, key: str) -> Stage:
    """Notice within tolerance within limit; what was changed holds, the others give way."""
    if key == "limit":
        tolerance = _least(stage.tolerance, stage.limit)
        stage = msgspec.structs.replace(stage, tolerance=tolerance)
    elif key == "notice":
        stage = msgspec.structs.replace(stage, tolerance=_most(stage.tolerance, stage.notice))
    return msgspec.structs.replace(
        stage,
        notice=_least(stage.notice, stage.tolerance),
        limit=_most(stage.limit, stage.tolerance),
    )


def _least(one: Sides, other: Sides) -> Sides:
    return Sides(min(one.below, other.below), min(one.above, other.above))


def _most(one: Sides, other: Sides) -> Sides:
    return Sides(max(one.below, other.below), max(one.above, other.above))


def _moved(old: float, change: Change) -> float:
    return max(round(old + change.figure, 6), 0.0) if change.relative else change.figure
