"""How a sentence of the message catalogue becomes text.

A catalogue holds one template a key. `{name}` is a field; a stretch in `[square brackets]` is left
out as soon as one of its fields is unknown; a template that lacks a field outside of brackets says
nothing at all. So whoever writes the catalogue decides what a sentence can do without, and nothing
unknown is ever printed. Numbers carry a true minus sign, times the site's clock: bare within
twelve hours, "yesterday", "tomorrow" or the date beyond.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import datetime, tzinfo

import msgspec

from kuraban.core.units import DAY, HOUR

_OPTIONAL = re.compile(r"\[([^\]]*)\]")
_FIELD = re.compile(r"\{(\w+)\}")
_MINUS = "\u2212"
_BARE_CLOCK = 12 * HOUR
_LISTED = 4


class Words(msgspec.Struct, frozen=True):
    """Message catalogues: language, then key, then template."""

    catalogue: dict[str, dict[str, str]]

    @classmethod
    def from_tables(cls, tables: Mapping[str, Mapping[str, object]]) -> Words:
        """Catalogues from nested tables, keys joined by dots.

        ValueError names each key that one language has and another lacks, and each value that is
        no text.
        """
        catalogue = {language: dict(_flat(table, "")) for language, table in tables.items()}
        every = set().union(*catalogue.values())
        lacking = [
            f"{language}: {key} is missing; every language needs the same keys"
            for language, templates in sorted(catalogue.items())
            for key in sorted(every - templates.keys())
        ]
        if lacking or not every:
            raise ValueError("\n".join(lacking) or "no message catalogue; give one a language")
        return cls(catalogue)


def _flat(table: Mapping[str, object], path: str) -> Iterable[tuple[str, str]]:
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{path}{key}.")
        elif isinstance(value, str):
            yield path + key, value
        else:
            raise ValueError(f"{path}{key}: {value!r} is no text; put it in quotes")


def fill(template: str, fields: Mapping[str, str]) -> str:
    """The template with its fields, "" if one outside of brackets is unknown."""
    text = ""
    for number, piece in enumerate(_OPTIONAL.split(template)):
        known = all(name in fields for name in _FIELD.findall(piece))
        if known:
            text += _FIELD.sub(lambda found: fields[found[1]], piece)
        elif number % 2 == 0:
            return ""
    return text


def figure(value: float, decimals: int = 1, signed: bool = False) -> str:
    """A number with a true minus sign; signed ones carry +, − or ±."""
    rounded = round(value, decimals) + 0.0
    text = f"{abs(rounded):.{decimals}f}"
    plus = ("±" if rounded == 0 else "+") if signed else ""
    return (_MINUS if rounded < 0 else plus) + text


ANOTHER_SEASON = 182 * DAY
"""From so far away a date might be taken for that of another season: it is told with its year."""


class Speech(msgspec.Struct, frozen=True):
    """One language, at one moment, by one clock."""

    words: Words
    language: str
    zone: tzinfo
    at: float

    def template(self, *keys: str) -> str:
        """The template of the first key that the catalogue has; "" if it has none of them."""
        templates = self.words.catalogue[self.language]
        return next((templates[key] for key in keys if key in templates), "")

    def say(self, key: str, fields: Mapping[str, str] | None = None, /, **more: str) -> str:
        """The sentence of a key, "" where the catalogue lacks it or a needed field is unknown."""
        return fill(self.template(key), {**(fields or {}), **more})

    def join(self, sentences: Iterable[str]) -> str:
        return self.template("join.sentences").join(filter(None, sentences))

    def names(self, names: Iterable[str], most: int = _LISTED) -> str | None:
        """A list of names, cut to `most` and the count of the others; None for an empty one."""
        every = list(names)
        text = self.template("join.list").join(every[:most])
        if len(every) > most:
            text = self.say("join.more", names=text, n=str(len(every) - most))
        return text or None

    def clock(self, at: float | None) -> str | None:
        if at is None:
            return None
        moment = datetime.fromtimestamp(at, self.zone)
        days = (moment.date() - datetime.fromtimestamp(self.at, self.zone).date()).days
        clock = f"{moment:%H:%M}"
        if days == 0 or abs(at - self.at) < _BARE_CLOCK:
            return clock
        near = {-1: "time.yesterday", 1: "time.tomorrow"}.get(days)
        return self.say(near, clock=clock) if near else f"{self.date(at)} {clock}"

    def date(self, at: float) -> str:
        moment = datetime.fromtimestamp(at, self.zone)
        month = self.template("time.months").split()[moment.month - 1]
        told = self.say("time.date", day=str(moment.day), month=month)
        far = abs(at - self.at) > ANOTHER_SEASON
        return self.say("time.year", date=told, year=str(moment.year)) if far else told

    def measure(self, value: float | None, unit: str = "°C") -> str | None:
        """A value with its unit; a difference of two bulbs is told in degrees."""
        if value is None:
            return None
        if unit.startswith("%"):
            return self.say("unit.percent", n=figure(value, 0))
        if unit in ("°C", "K"):
            return self.say("unit.celsius", n=figure(value))
        return f"{figure(value, 0)} {unit}".rstrip()

    def span(self, hours: float | None) -> str | None:
        """Time left, rounded towards less so that nobody is promised more than there is."""
        if hours is None or hours != hours:
            return None
        if hours > 24:
            return self.template("span.days")
        minutes = int(max(hours, 0.0) * 60 + 0.5) // 10 * 10
        if minutes < 90:
            return self.say("span.minutes", n=str(minutes)) if minutes else self.say("span.soon")
        halves = minutes // 30 / 2 if minutes < 360 else minutes // 60
        return self.say("span.hours", n=f"{halves:g}")

    def stretch(self, start: float, end: float) -> str | None:
        """From when to when, once where both read the same."""
        first, last = self.clock(start), self.clock(end)
        return first if first == last else self.say("time.range", start=first or "", end=last or "")
