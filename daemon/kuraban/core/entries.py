"""The entries: what people do and tell the watch, one structure for each.

An entry arrives as a JSON object whose member `entry` names it; its other members are the fields
below. `at`, `by` and `id` belong to the envelope (`kuraban.core.facts.Logged`).
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, get_args

import msgspec
from msgspec import Meta

from kuraban.core.units import BOARD_EPOCH, HOUR, LAST_MOMENT, parse_duration, parse_time

Words = Annotated[str, Meta(min_length=1, max_length=200)]
Id = Annotated[str, Meta(pattern=r"^[a-z0-9][a-z0-9-]*$", max_length=100)]
Celsius = Annotated[float, Meta(ge=-40, le=110)]
Kilograms = Annotated[float, Meta(gt=0, le=100_000)]
Day = Annotated[str, Meta(pattern=r"^\d{4}-\d{2}-\d{2}$", max_length=10)]
Litres = Annotated[float, Meta(gt=0, le=1_000_000)]

LONGEST_QUIET = 12 * HOUR


class Duration(float):
    """Seconds, written "20m"."""


class Moment(float):
    """Unix seconds of a time from 2020 to 2099, written in RFC 3339 or as the number."""


class _Entry(msgspec.Struct, frozen=True, kw_only=True, tag_field="entry", omit_defaults=True):
    """Parent of every entry."""


class BatchStart(_Entry, frozen=True, tag="batch-start"):
    batch: Words
    course: Id
    stage: Id | None = None
    since: Moment | None = None
    title: Words | None = None
    rice_kg: Kilograms | None = None


class StageMark(_Entry, frozen=True, tag="stage"):
    stage: Id
    since: Moment | None = None


class Hold(_Entry, frozen=True, tag="hold"):
    for_: Duration = msgspec.field(name="for")


class Aim(_Entry, frozen=True, tag="aim"):
    """`by` is the moment of arrival; who made the entry is then named by the envelope's `who`."""

    celsius: Celsius
    by: Moment
    then: Literal["shift", "course", "level"] = "shift"


class Plan(_Entry, frozen=True, tag="plan"):
    points: Annotated[tuple[tuple[Moment, Celsius], ...], Meta(min_length=1, max_length=500)]


class LetRun(_Entry, frozen=True, tag="let-run"):
    for_: Duration = msgspec.field(name="for")
    more: Annotated[float, Meta(ge=0, le=20)]


class BatchEnd(_Entry, frozen=True, tag="batch-end"):
    pass


class Press(_Entry, frozen=True, tag="press"):
    """The mash is pressed into these tanks. `rest`: some of it is left for another pressing, and
    the batch goes on here. What stands in the tanks begins by a batch-start of its own."""

    to: Annotated[tuple[Id, ...], Meta(min_length=1, max_length=20)]
    rest: bool = False


class Move(_Entry, frozen=True, tag="move"):
    to: Id


class Split(_Entry, frozen=True, tag="split"):
    to: Annotated[tuple[Id, ...], Meta(min_length=1, max_length=50)]


class Merge(_Entry, frozen=True, tag="merge"):
    into: Id


class Stir(_Entry, frozen=True, tag="stir"):
    for_: Duration | None = msgspec.field(name="for", default=None)


Ingredient = Literal[
    "water-koji", "rice", "water", "starter", "late-water", "yodan", "ice", "alcohol",
    "lactic-acid", "yeast",
]  # fmt: skip


INGREDIENTS: frozenset[str] = frozenset(get_args(Ingredient))


class Addition(_Entry, frozen=True, tag="addition"):
    """`batch` names the starter or koji lot that goes in."""

    what: Ingredient
    kg: Kilograms | None = None
    litres: Litres | None = None
    celsius: Celsius | None = None
    batch: Words | None = None


class CaskIn(_Entry, frozen=True, tag="cask-in"):
    what: Literal["warm", "cold"] = "warm"
    for_: Duration | None = msgspec.field(name="for", default=None)


class CaskOut(_Entry, frozen=True, tag="cask-out"):
    what: Literal["warm", "cold"] = "warm"
    for_: Duration | None = msgspec.field(name="for", default=None)


class Handwork(_Entry, frozen=True, tag="handwork"):
    for_: Duration | None = msgspec.field(name="for", default=None)


class ProbeOut(_Entry, frozen=True, tag="probe-out"):
    pass


class ProbeIn(_Entry, frozen=True, tag="probe-in"):
    pass


class Check(_Entry, frozen=True, tag="check"):
    celsius: Celsius
    where: Words | None = None


class Sample(_Entry, frozen=True, tag="sample"):
    baume: Annotated[float, Meta(ge=-5, le=30)] | None = None
    smv: Annotated[float, Meta(ge=-250, le=50)] | None = None
    alcohol: Annotated[float, Meta(ge=0, le=30)] | None = None
    acidity: Annotated[float, Meta(ge=0, le=50)] | None = None
    amino: Annotated[float, Meta(ge=0, le=50)] | None = None
    glucose: Annotated[float, Meta(ge=0, le=50)] | None = None
    hydrometer_celsius: Celsius | None = None


class Look(_Entry, frozen=True, tag="look"):
    foam: Words | None = None
    text: Words | None = None


class ServedBy(_Entry, frozen=True, tag="served-by"):
    cooler: Id


class Acknowledge(_Entry, frozen=True, tag="acknowledge"):
    condition: Id | None = None
    for_: Duration | None = msgspec.field(name="for", default=None)


class Shelve(_Entry, frozen=True, tag="shelve"):
    """`once`: until the alarm has returned to normal, and no longer than `for`."""

    condition: Id
    for_: Duration = msgspec.field(name="for")
    reason: Words | None = None
    once: bool = False


class Unshelve(_Entry, frozen=True, tag="unshelve"):
    condition: Id


class OutOfService(_Entry, frozen=True, tag="out-of-service"):
    reason: Words | None = None


class InService(_Entry, frozen=True, tag="in-service"):
    reason: Words | None = None


class Verdict(_Entry, frozen=True, tag="verdict"):
    alarm: Words
    was: Literal["right", "needless", "late"]


class Best(_Entry, frozen=True, tag="best"):
    """A batch of this place is one of the house's best, by which later ones are measured: the last
    of that name, or the one that began here at `since`."""

    batch: Words
    since: Moment | None = None


class TakeBack(_Entry, frozen=True, tag="take-back"):
    of: Words
    reason: Words | None = None


class Amend(_Entry, frozen=True, tag="amend"):
    """Its further members replace those of the old entry; the rest of that entry stays."""

    of: Words
    reason: Words | None = None
    fields: dict[str, Any] = {}


class DutySwap(_Entry, frozen=True, tag="duty-swap"):
    """Two people exchange the duties that begin on `day`, in one role or in all."""

    from_: Id = msgspec.field(name="from")
    to: Id
    day: Day
    role: Words | None = None


class Confirm(_Entry, frozen=True, tag="confirm"):
    """A second person, or the brewer, lets a held-back entry count."""

    of: Words


class Note(_Entry, frozen=True, tag="note"):
    text: Words


Entry = (
    BatchStart | StageMark | Hold | Aim | Plan | LetRun | BatchEnd | Press | Move | Split | Merge
    | Stir | Addition | CaskIn | CaskOut | Handwork | ProbeOut | ProbeIn | Check | Sample | Look
    | ServedBy | Acknowledge | Shelve | Unshelve | OutOfService | InService | Verdict | Best
    | TakeBack | Amend | DutySwap | Confirm | Note
)  # fmt: skip

BY_KIND: dict[str, type[Entry]] = {str(kind.__struct_config__.tag): kind for kind in Entry.__args__}
KINDS: tuple[str, ...] = tuple(BY_KIND)


def goals_of(entry: Entry) -> tuple[str, ...]:
    """The places to which an entry carries the batch of its own place."""
    match entry:
        case Move(to=to):
            return (to,)
        case Split(to=several):
            return several
        case Merge(into=into):
            return (into,)
        case _:
            return ()


def read_special(kind: type, value: object) -> object:
    """Decoder of the two spellings that JSON does not know: durations and times."""
    if kind is Duration:
        return Duration(parse_duration(value))
    if kind is Moment:
        moment = parse_time(value)
        if not BOARD_EPOCH <= moment < LAST_MOMENT:
            raise ValueError(f"{value!r} lies before 2020 or after 2099; look at its year")
        return Moment(moment)
    raise TypeError(f"no spelling is known for {kind}")


def read_entry(fields: object) -> Entry:
    """The typed entry of a decoded JSON object; msgspec.ValidationError says what is wrong."""
    entry: Entry = msgspec.convert(fields, Entry, dec_hook=read_special)
    return entry


def kind_of(entry: Entry) -> str:
    """The entry's name as people write it, "let-run"."""
    return str(entry.__struct_config__.tag)
