"""Figures and lengths of time as people type them: wide letters, decimal commas, units behind.

One reading for every command and every form. A Japanese keyboard types `１０．５`, a German one
`10,5`, a thermometer shows `10.5 ℃`: all of them mean 10.5.
"""

from __future__ import annotations

import re
import unicodedata

from kuraban.core.units import DAY, HOUR, LONGEST_DURATION, MINUTE

UNITS = {
    "s": 1.0, "sec": 1.0, "second": 1.0, "秒": 1.0,
    "m": MINUTE, "min": MINUTE, "minute": MINUTE, "分": MINUTE,
    "h": HOUR, "hr": HOUR, "hour": HOUR, "時間": HOUR,
    "d": DAY, "day": DAY, "日": DAY,
}  # fmt: skip
_PART = re.compile(
    r"(\d+(?:[.,]\d+)?)\s*([a-z]+|秒|分|時間|日)(?:間)?\s*", re.ASCII | re.IGNORECASE
)
_FIGURE = re.compile(r"([+-]?\d*[.,]?\d+)\s*(?:°\s*C|C|K|度|%|kg|L)?", re.IGNORECASE | re.ASCII)
_THOUSANDS = re.compile(r"[+-]?\d{1,3},\d{3}", re.ASCII)
_MINUS = str.maketrans("−‐–ー", "----")


def narrow(text: str) -> str:
    """The text in the letters of an English keyboard, without white space around it."""
    return unicodedata.normalize("NFKC", text).translate(_MINUS).strip()


class Either(ValueError):
    """A figure that may be one of two."""


def figure(text: str) -> float:
    """A number with a point or a comma, its unit behind it if need be. ValueError says what is
    right; `1,400` may be either, so it is neither."""
    told = narrow(text)
    if _THOUSANDS.fullmatch(told):
        whole, point = told.replace(",", ""), told.replace(",", ".")
        raise Either(f'"{text}" may be {whole} or {point}; write which')
    if (found := _FIGURE.fullmatch(told)) is not None:
        return float(found[1].replace(",", "."))
    try:
        return float(told)
    except ValueError:
        raise ValueError(f'"{text}" is no number; write one such as 10.5') from None


def span(text: str) -> float:
    """Seconds of `90s`, `20 min`, `12hours`, `1h30m`, `2 days`, `12時間`. ValueError says what is
    right."""
    told, at, seconds = narrow(text).lower(), 0, 0.0
    while found := _PART.match(told, at):
        unit = found[2] if found[2] in UNITS else found[2].removesuffix("s")
        if unit not in UNITS:
            break
        seconds += float(found[1].replace(",", ".")) * UNITS[unit]
        at = found.end()
    if not told or at < len(told) or seconds > LONGEST_DURATION:
        raise ValueError(
            f'"{text}" is no length of time; write one such as "90s", "20m", "12h", "2d"'
        )
    return seconds


def whole(text: str) -> int:
    """A whole number. ValueError says what is right."""
    try:
        return int(narrow(text))
    except ValueError:
        raise ValueError(f'"{text}" is no whole number; write one such as 14') from None
