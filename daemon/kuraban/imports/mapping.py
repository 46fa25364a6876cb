"""Which column of a table is what: asked once, kept as TOML, and used for every table like it.

    kind = "readings"            # or "batches", "samples"
    timezone = "Asia/Tokyo"      # of times without an offset; else the site's
    unit = "°F"                  # and factor = 0.1 for whole tenths
    [columns]                    # heading = what stands below it
    "日時" = "time"
    "タンク3" = "tank-3"          # one column a tank: its id, or that of a probe
    [names]                      # what the table calls a place or course = its id here
    "3号" = "tank-3"

Of readings a column is `time` (or `date` and `clock`), a place or probe, or, where a column names
the tank, `subject` and `value`. The columns of batches are `batch`, `place`, `course`, `title`,
`rice_kg`, `end`, `note`, and `stage:ID` for the day on which a stage began; those of samples are
`time`, `place` or `batch`, and the figures of the entry. `course` beside `kind` is every batch's.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping as Named
from collections.abc import Sequence
from itertools import islice
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

import msgspec

from kuraban.core import entries as e
from kuraban.core.intake.payload import nearest
from kuraban.core.intake.typed_figures import narrow
from kuraban.core.site import House, Scale
from kuraban.edges.table_reader import Cell, Row, Shape, refuse

Kind = Literal["readings", "batches", "samples"]
FIGURES = e.Sample.__struct_fields__
MOMENT = ("time", "date", "clock")
ROLES: Named[Kind, tuple[str, ...]] = {
    "readings": (*MOMENT, "subject", "value"),
    "batches": ("batch", "place", "course", "title", "rice_kg", "end", "note"),
    "samples": (*MOMENT, "place", "batch", *FIGURES),
}
STAGE = "stage:"
NEEDED: Named[Kind, Named[str, set[str]]] = {
    "readings": {"`time`": {"time", "date"}, "place": {"place"}},
    "samples": {
        "`time`": {"time", "date"}, "`place` or `batch`": {"place", "batch"},
        f"figure: {', '.join(FIGURES)}": {*FIGURES},
    },
    "batches": {
        "`batch`": {"batch"}, "`place`": {"place"}, "`end`": {"end"}, "`course`": {"course"},
        "`stage:ID`, the day on which it began": {"stage"},
    },
}  # fmt: skip
"""What there must be a column of, as it is said where there is none: one of these roles."""
LOOKED_AT = 50
"""Rows in which the headings are looked for: loggers write of themselves first."""


class Mapping(Shape, frozen=True, forbid_unknown_fields=True, kw_only=True):
    kind: Kind
    columns: dict[str, str]
    names: dict[str, str] = msgspec.field(default_factory=dict)
    timezone: str | None = None
    time_format: str | None = None
    decimal: Literal[".", ","] | None = None
    unit: Scale = "°C"
    factor: float = 1.0
    course: str | None = None

    def column(self, role: str) -> str:
        """The heading of a role, "" where no column has it."""
        return next((head for head, own in self.columns.items() if own == role), "")


def load(path: Path, house: House) -> Mapping:
    """The mapping at `path`, checked against the house; ConfigurationError with what is wrong."""
    try:
        mapping = msgspec.convert(tomllib.loads(path.read_text("utf-8")), Mapping)
    except OSError as error:
        refuse(path, "the file", f"cannot be read ({error.strerror})", "name a mapping file")
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        refuse(path, "the file", f"is no TOML ({error})", "see `kuraban import --help`")
    except msgspec.ValidationError as error:
        refuse(path, "the file", f"is no mapping ({error})", "see `kuraban import --help`")
    check(path, mapping, house)
    return mapping


def check(path: Path, mapping: Mapping, house: House) -> None:
    possible = offered(mapping.kind, house)
    for head, role in mapping.columns.items():
        if role not in possible:
            right = f"there are {nearest(role, possible)}"
            refuse(
                path, f'columns."{head}"', f'"{role}" is nothing that {mapping.kind} have', right
            )
    roles = [role for role in mapping.columns.values() if role != "note"]
    if twice := {role for role in roles if roles.count(role) > 1}:
        right = "leave all but one of its columns out"
        refuse(path, "columns", f'"{min(twice)}" is there twice', right)
    if lacking := _lacking(mapping, {*roles}):
        refuse(path, "columns", f"{mapping.kind} have no {lacking}", "say which column tells it")
    try:
        ZoneInfo(mapping.timezone or house.site.timezone)
    except (KeyError, ValueError):
        right = 'write one such as "Asia/Tokyo"'
        refuse(path, "timezone", f'there is no time zone "{mapping.timezone}"', right)
    if mapping.course is not None and mapping.course not in house.course:
        right = f"there are {nearest(mapping.course, house.course)}"
        refuse(path, "course", f'there is no course "{mapping.course}"', right)


def offered(kind: Kind, house: House) -> tuple[str, ...]:
    """Everything that a column of such a table can be."""
    if kind == "readings":
        return (*ROLES[kind], *house.place, *house.probe)
    if kind == "samples":
        return ROLES[kind]
    stages = {f"{STAGE}{stage.id}" for course in house.courses for stage in course.stages}
    return (*ROLES[kind], *sorted(stages))


def _lacking(mapping: Mapping, roles: set[str]) -> str:
    has = {role.partition(":")[0] for role in roles} | ({"course"} if mapping.course else set())
    if mapping.kind == "readings":
        if ("subject" in has) != ("value" in has):
            return "`subject` beside its `value`"
        has |= {"place"} if roles - {*MOMENT} else set()
    return ", ".join(said for said, some in NEEDED[mapping.kind].items() if not has & some)


def headed(rows: Sequence[Row], mapping: Mapping) -> tuple[int, list[str]] | None:
    """Where in the first rows the headings of a mapping stand, and all headings there."""
    for index, (_, cells) in enumerate(islice(rows, LOOKED_AT)):
        heads = headings(cells)
        if {*mapping.columns} <= {*heads}:
            return index, heads
    return None


def headings(cells: Sequence[Cell]) -> list[str]:
    return [str(cell).strip() for cell in cells]


def likely_heads(rows: Sequence[Row]) -> int:
    """Which of the first rows looks like that of the headings: the first of the widest ones."""
    wide = [sum(bool(str(cell).strip()) for cell in cells) for _, cells in rows[:LOOKED_AT]]
    return wide.index(max(wide)) if wide else 0


def called(
    text: Cell, house: House, names: Named[str, str], table: Named[str, object]
) -> str | None:
    """The id of a place, probe or course that a table calls so: by id, by name, or as mapped."""
    plain = narrow(str(int(text)) if isinstance(text, float) and text.is_integer() else str(text))
    own = next((id_ for name, id_ in names.items() if narrow(name) == plain), plain)
    if own in table:
        return own
    named = {narrow(place.name).casefold(): place.id for place in house.places}
    found = named.get(own.casefold(), own.casefold())
    return found if found in table else None


def to_toml(mapping: Mapping) -> str:
    """The mapping as the file that `load` reads."""
    told = msgspec.to_builtins(mapping)
    plain = msgspec.structs.asdict(Mapping(kind=mapping.kind, columns={}))
    lines = [
        f"{key} = {_spelled(value)}"
        for key, value in told.items()
        if not isinstance(value, dict) and (key == "kind" or value != plain[key])
    ]
    for name in ("columns", "names"):
        if told[name]:
            lines += ["", f"[{name}]"]
            lines += [f"{_spelled(key)} = {_spelled(value)}" for key, value in told[name].items()]
    return "\n".join(lines) + "\n"


def _spelled(value: object) -> str:
    """A JSON text is one in TOML too, but for DEL."""
    return msgspec.json.encode(value).decode().replace("\x7f", "\\u007f")
