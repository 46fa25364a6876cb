"""The kinds of value that site and course files hold, each with what would be right.

A value that does not fit raises `refuse(wrong, right)`, which pydantic carries to the report of
faults. Each kind names its JSON Schema, from which `shared/schemas` is printed.
"""

from __future__ import annotations

import difflib
import json
import math
import re
from collections.abc import Callable, Collection
from datetime import date, datetime
from itertools import pairwise
from typing import Annotated, Any, get_args
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BeforeValidator, PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from kuraban.core.planned_curve import AirBand, Sides
from kuraban.core.site import Language
from kuraban.core.units import ID, parse_clock, parse_duration

COLDEST, HOTTEST = -40.0, 110.0
LANGUAGES: tuple[str, ...] = get_args(Language)
DURATION_PATTERN = r"^\d+(\.\d+)?(s|m|h|d)$"


def refuse(wrong: str, right: str) -> PydanticCustomError:
    """The error by which a value says what is wrong and what would be right."""
    return PydanticCustomError("fault", "{wrong}; {right}", {"wrong": wrong, "right": right})


def show(value: object) -> str:
    """A value as the operator wrote it, shortened; quotes as in TOML."""
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 80 else text[:77] + "..."


def listed(names: Collection[str]) -> str:
    return ", ".join(names) if names else "(none)"


def nearest(word: object, known: Collection[str], else_say: str) -> str:
    """What would be right: the nearest of the known spellings, or `else_say`."""
    close = difflib.get_close_matches(str(word).lower(), known, n=1, cutoff=0.6)
    return f'did you mean "{close[0]}"?' if close else else_say


def number(value: object) -> float:
    """A finite number; truth values and texts that are no number are refused."""
    try:
        figure = float(value) if isinstance(value, (int, float, str)) else math.nan
    except (ValueError, OverflowError):
        figure = math.nan
    if isinstance(value, bool) or not math.isfinite(figure):
        raise refuse(f"{show(value)} is not a number", "write a number such as 10.5")
    return figure


def _within(low: float, high: float, what: str) -> Callable[[object], float]:
    def check(value: object) -> float:
        figure = number(value)
        if not low <= figure <= high:
            right = f"{what} lies between {low:g} and {high:g}"
            raise refuse(f"{figure:g} cannot be {what}", right)
        return figure

    return check


def _positive(value: object) -> float:
    figure = number(value)
    if figure <= 0:
        raise refuse(f"{figure:g} is not above 0", "write a number above 0")
    return figure


def _id(value: object) -> str:
    if not isinstance(value, str) or not ID.fullmatch(value):
        right = "an id has small letters a-z, digits and -, and starts with a letter or digit"
        raise refuse(f"{show(value)} is not an id", right)
    return value


def _words(value: object) -> str:
    if not isinstance(value, str) or not 1 <= len(value) <= 200 or not value.isprintable():
        raise refuse(f"{show(value)} is not a text", "write 1 to 200 printable characters")
    return value


def _parsed(parse: Callable[[object], float], right: str) -> Callable[[object], float]:
    def check(value: object) -> float:
        try:
            return parse(value)
        except ValueError:
            raise refuse(f"{show(value)} cannot be read", right) from None

    return check


_duration = _parsed(parse_duration, 'write a duration such as "90s", "20m", "3h" or "2d"')
_clock = _parsed(parse_clock, 'write a time of day such as "06:00"')


def _some_time(value: object) -> float:
    seconds = _duration(value)
    if seconds <= 0:
        raise refuse(f"{show(value)} is no time at all", 'write a duration above 0, such as "1m"')
    return seconds


def _pair(value: object, what: str) -> tuple[object, object]:
    if not isinstance(value, (list, tuple)) or len(value) != 2:
        raise refuse(f"{show(value)} is not a pair", f"write {what}")
    return value[0], value[1]


def _hours(value: object) -> tuple[float, float]:
    start, end = (_clock(part) for part in _pair(value, 'two times such as ["18:00", "08:00"]'))
    if start == end:
        right = "the two times must differ; leave hours out for always"
        raise refuse(f"{show(value)} covers no time", right)
    return start, end


def _band_within(low: float, high: float) -> Callable[[object], tuple[float, float]]:
    def check(value: object) -> tuple[float, float]:
        within = _within(low, high, "an edge of this band")
        lower, upper = (within(part) for part in _pair(value, "[lowest, highest]"))
        if lower >= upper:
            right = f"the lower comes first: [{min(lower, upper):g}, {max(lower, upper):g}]"
            raise refuse(f"{show(value)} is not a band", right if lower > upper else "widen it")
        return lower, upper

    return check


def _timezone(value: object) -> str:
    try:
        return ZoneInfo(str(value)).key
    except (KeyError, ValueError, OSError):
        known = {zone.lower(): zone for zone in available_timezones()}
        close = difflib.get_close_matches(str(value).lower(), known, n=1, cutoff=0.5)
        right = f'did you mean "{known[close[0]]}"?' if close else 'write one such as "Asia/Tokyo"'
        raise refuse(f"{show(value)} is not a time zone", right) from None


def _only_keys(value: dict[str, Any], known: Collection[str]) -> None:
    for key in value:
        if key not in known:
            right = nearest(key, known, f"known are {listed(known)}")
            raise refuse(f'"{key}" is not a key here', right)


def _sides(value: object) -> Sides:
    if isinstance(value, dict):
        _only_keys(value, ("below", "above"))
        if set(value) != {"below", "above"}:
            raise refuse("one side is missing", "write { below = 0.5, above = 0.4 }")
        sides = Sides(number(value["below"]), number(value["above"]))
    else:
        sides = Sides(number(value), number(value))
    if min(sides.below, sides.above) < 0:
        raise refuse(f"{show(value)} is below 0", "write the degrees allowed on either side")
    return sides


def _title(value: object) -> dict[str, str]:
    if not isinstance(value, dict):
        return dict.fromkeys(LANGUAGES, _words(value))
    _only_keys(value, LANGUAGES)
    if not value:
        raise refuse("no title in it", 'write { en = "...", ja = "..." }')
    return {language: _words(text) for language, text in value.items()}


def _points(value: object) -> tuple[tuple[float, float], ...]:
    example = '[["0h", 12.0], ["24h", 13.0]]'
    if not isinstance(value, list) or not value:
        raise refuse(f"{show(value)} is not a list of points", f"write {example}")
    celsius = _within(COLDEST, HOTTEST, "a planned temperature")
    points: list[tuple[float, float]] = []
    for entry in value:
        elapsed, degrees = _pair(entry, f"points such as {example}")
        points.append((_duration(elapsed), celsius(degrees)))
        if len(points) > 1 and points[-1][0] <= points[-2][0]:
            wrong = f"{show(elapsed)} does not come after {show(value[len(points) - 2][0])}"
            raise refuse(wrong, "put the points in ascending order of elapsed time")
    return tuple(points)


def _line(
    first: tuple[float, float], then: tuple[float, float], what: tuple[str, str], example: str,
    *, falls: bool = False,
) -> Callable[[object], tuple[tuple[float, float], ...]]:  # fmt: skip
    """A line through pairs of two figures, each within its bounds, the first ascending."""

    def check(value: object) -> tuple[tuple[float, float], ...]:
        if not isinstance(value, list) or len(value) < 2:
            raise refuse(f"{show(value)} is no line of two points or more", f"write {example}")
        near, far = _within(*first, what[0]), _within(*then, what[1])
        points: list[tuple[float, float]] = []
        for pair in value:
            x, y = _pair(pair, f"points such as {example}")
            points.append((near(x), far(y)))
        for before, after in pairwise(points):
            if after[0] <= before[0]:
                right = f"put the points in ascending order of {what[0]}"
                raise refuse(f"{after[0]:g} does not come after {before[0]:g}", right)
            if falls and after[1] >= before[1]:
                right = f"{what[1]} falls from point to point"
                raise refuse(f"{after[1]:g} is not less than {before[1]:g}", right)
        return tuple(points)

    return check


def _air(value: object) -> AirBand:
    known = ("wet_bulb_depression", "humidity")
    if not isinstance(value, dict):
        right = "write { wet_bulb_depression = [3.0, 6.0] } or { humidity = [60, 80] }"
        raise refuse(f"{show(value)} is not an air band", right)
    _only_keys(value, known)
    if len(value) != 1:
        raise refuse("not exactly one band", f"give one of {listed(known)}")
    if "humidity" in value:
        return AirBand(humidity=_band_within(0, 100)(value["humidity"]))
    return AirBand(wet_bulb_depression=_band_within(0, 60)(value["wet_bulb_depression"]))


def _ladder(value: object) -> tuple[float, ...]:
    example = '["0m", "10m", "30m", "60m"]'
    if not isinstance(value, (list, tuple)) or not 1 <= len(value) <= 12:
        raise refuse(f"{show(value)} is no ladder", f"write 1 to 12 durations such as {example}")
    rungs = tuple(_duration(rung) for rung in value)
    if rungs[0] != 0:
        right = 'the first is told at once: begin with "0m"'
        raise refuse(f"{show(value[0])} makes the first person wait", right)
    for number, (earlier, later) in enumerate(pairwise(rungs), 1):
        if later <= earlier:
            wrong = f"{show(value[number])} does not come after {show(value[number - 1])}"
            raise refuse(wrong, f"put the rungs in ascending order, such as {example}")
    return rungs


def _day(value: object) -> str:
    text = value.isoformat() if isinstance(value, date) else str(value)
    try:
        datetime.fromisoformat(text)
    except ValueError:
        right = 'write a day such as "2026-12-31", or with a time, "2026-12-31 18:00"'
        raise refuse(f"{show(value)} is no day", right) from None
    return text


def _topic(value: object) -> str:
    text = _words(value)
    if set(text) & set("+#") or text.startswith(("/", "$")) or text.endswith("/"):
        right = "write a plain topic such as meters/chiller-1, without + # $ and outer /"
        raise refuse(f"{show(text)} is not a topic", right)
    return text


def _web(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"https?://[^\s/]+(/\S*)?", value):
        raise refuse("what stands here is no web address", 'write one such as "https://…"')
    return value


def _argon(value: object) -> str:
    if not isinstance(value, str) or not value.startswith("$argon2id$"):
        right = "write the line that `kuraban password` prints"
        raise refuse("what stands here is no argon2id line", right)
    return value


def _token(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"[!-~]+", value):
        right = "write it as the engine shows it: letters, digits and signs, one line, no spaces"
        raise refuse("what stands here is no token", right)
    return value


def _pointer(value: object) -> str:
    text = value if isinstance(value, str) else "~"
    if (text and not text.startswith("/")) or "~" in text.replace("~0", "").replace("~1", ""):
        right = 'write a JSON Pointer (RFC 6901) such as "/active/watts"'
        raise refuse(f"{show(value)} is not a pointer", right)
    return text


def _a(kind: str, **more: object) -> WithJsonSchema:
    return WithJsonSchema({"type": kind, **more})


_BAND = _a("array", items={"type": "number"}, minItems=2, maxItems=2)
_NOT_BELOW_0 = {"type": "number", "minimum": 0}
_TEXT = {"type": "string", "minLength": 1, "maxLength": 200}
_CLOCK = {"type": "string", "pattern": r"^(([01]\d|2[0-3]):[0-5]\d|24:00)$"}
_POINT = {
    "type": "array",
    "prefixItems": [{"type": "string", "pattern": DURATION_PATTERN}, {"type": "number"}],
    "minItems": 2,
    "maxItems": 2,
}

Id = Annotated[str, BeforeValidator(_id), _a("string", pattern=f"^{ID.pattern}$")]
Words = Annotated[str, BeforeValidator(_words), WithJsonSchema(_TEXT)]
Topic = Annotated[str, BeforeValidator(_topic), WithJsonSchema(_TEXT)]
Pointer = Annotated[str, BeforeValidator(_pointer), _a("string", pattern=r"^(/.*)?$")]
Web = Annotated[str, BeforeValidator(_web), _a("string", pattern="^https?://")]
Argon = Annotated[str, BeforeValidator(_argon), _a("string", pattern=r"^\$argon2id\$")]
Token = Annotated[str, BeforeValidator(_token), _a("string", pattern="^[!-~]+$")]
Timezone = Annotated[str, BeforeValidator(_timezone), _a("string")]
Positive = Annotated[float, BeforeValidator(_positive), _a("number", exclusiveMinimum=0)]
Offset = Annotated[
    float, BeforeValidator(_within(-20, 20, "an offset")), _a("number", minimum=-20, maximum=20)
]
Duration = Annotated[float, BeforeValidator(_duration), _a("string", pattern=DURATION_PATTERN)]
SomeTime = Annotated[float, BeforeValidator(_some_time), _a("string", pattern=DURATION_PATTERN)]
Clock = Annotated[float, BeforeValidator(_clock), WithJsonSchema(_CLOCK)]
Ladder = Annotated[
    tuple[float, ...],
    BeforeValidator(_ladder),
    _a(
        "array",
        items={"type": "string", "pattern": DURATION_PATTERN},
        minItems=1,
        maxItems=12,
    ),
]
Day = Annotated[str, BeforeValidator(_day), _a("string")]
"""A day, or a day and a time, by the brewery's clock unless it carries an offset."""
Hours = Annotated[
    tuple[float, float],
    BeforeValidator(_hours),
    _a("array", items=_CLOCK, minItems=2, maxItems=2),
]
Band = Annotated[tuple[float, float], BeforeValidator(_band_within(COLDEST, HOTTEST)), _BAND]
Title = Annotated[
    dict[str, str],
    PlainValidator(_title),
    WithJsonSchema(
        {
            "oneOf": [
                _TEXT,
                {
                    "type": "object",
                    "properties": dict.fromkeys(LANGUAGES, _TEXT),
                    "additionalProperties": False,
                    "minProperties": 1,
                },
            ]
        }
    ),
]
Allowed = Annotated[
    Sides,
    PlainValidator(_sides),
    WithJsonSchema(
        {
            "oneOf": [
                _NOT_BELOW_0,
                {
                    "type": "object",
                    "properties": {"below": _NOT_BELOW_0, "above": _NOT_BELOW_0},
                    "required": ["below", "above"],
                    "additionalProperties": False,
                },
            ]
        }
    ),
]
Points = Annotated[
    tuple[tuple[float, float], ...],
    PlainValidator(_points),
    _a("array", items=_POINT, minItems=1),
]
Air = Annotated[
    AirBand,
    PlainValidator(_air),
    _a(
        "object",
        properties=dict.fromkeys(("wet_bulb_depression", "humidity"), _BAND.json_schema),
        additionalProperties=False,
        minProperties=1,
        maxProperties=1,
    ),
]
_LINE = _a("array", minItems=2, items={
    "type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2,
})  # fmt: skip
_ALCOHOL = (0.0, 25.0), "alcohol"
BaumeByAlcohol = Annotated[
    tuple[tuple[float, float], ...],
    PlainValidator(
        _line(_ALCOHOL[0], (-5, 20), (_ALCOHOL[1], "Baume"), "[[4.0, 7.0], [17.5, -0.3]]")
    ),
    _LINE,
]
SmvByAlcohol = Annotated[
    tuple[tuple[float, float], ...],
    PlainValidator(_line(_ALCOHOL[0], (-200, 50), (_ALCOHOL[1], "SMV"), "[[4.0, -70], [17.5, 3]]")),
    _LINE,
]
BmdByDay = Annotated[
    tuple[tuple[float, float], ...],
    PlainValidator(_line((1, 60), (-60, 200), ("moromi day", "BMD"), "[[3, 24], [9, 36]]")),
    _LINE,
]
Dip = Annotated[
    tuple[tuple[float, float], ...],
    PlainValidator(
        _line((0, 1000), (0, 1_000_000), ("dip", "litres"), "[[0, 1420], [50, 1010]]", falls=True)
    ),
    _LINE,
]
