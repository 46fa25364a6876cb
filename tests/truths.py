"""What a night's timeline must say and must not, by the night's truth; knows nothing of the watch.

The rules are those of `fixtures/README.md`: every page of the truth comes within its time to its
role or person, and nothing else rings but what the truth allows.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

Lines = list[dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Told:
    """One message of one alarm to one person; `rings` unless it is a soundless notice."""

    at: float
    subject: str
    condition: str
    role: str
    person: str
    rings: bool

    def __str__(self) -> str:
        clock = datetime.fromtimestamp(self.at).astimezone().isoformat(timespec="seconds")
        return f"{self.subject} {self.condition} to {self.person} ({self.role}) at {clock}"


def lines_of(timeline: bytes) -> Lines:
    return [json.loads(line) for line in timeline.splitlines()]


def told(lines: Lines) -> list[Told]:
    """Every message that tells of alarms, one for each alarm that it tells of."""
    found = []
    for line in lines:
        if line["step"] in ("page", "notice"):
            for alarm in line.get("alarms", [line["alarm"]] if "alarm" in line else []):
                subject, _, condition = alarm.partition("/")
                role, person = line["role"], line["person"]
                rings = line["step"] == "page"
                found.append(Told(moment(line["at"]), subject, condition, role, person, rings))
    return found


def moment(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def fits(page: Mapping[str, Any], one: Told) -> bool:
    """Whether a message tells what that page of the truth asks for, at whatever time."""
    conditions = {page["condition"], *page.get("any_of", ())}
    loud = one.rings or "notice" in page.get("steps", ())
    return loud and one.subject == page["subject"] and one.condition in conditions


def answers(page: Mapping[str, Any], one: Told) -> bool:
    """Whether a message tells it to the right one and in time."""
    who = one.person == page["person"] if "person" in page else one.role == page["role"]
    return fits(page, one) and who and moment(page["from"]) <= one.at <= moment(page["to"])


def missing(truth: Mapping[str, Any], lines: Lines) -> list[str]:
    """The pages of the truth that did not come in time, and what came instead."""
    sent = told(lines)
    return [
        f"{page['role']}: {page['subject']} {page['condition']} between {page['from']} and "
        f"{page['to']}; told: {[str(one) for one in sent if fits(page, one)] or 'never'}"
        for page in truth["pages"]
        if not any(answers(page, one) for one in sent)
    ]


def false_rings(truth: Mapping[str, Any], lines: Lines) -> list[str]:
    """The first ring of every alarm that nothing in the truth asks for or allows."""
    pages, allowed = truth["pages"], {tuple(pair) for pair in truth["may"]}
    found: dict[tuple[str, str], Told] = {}
    for one in told(lines):
        key = (one.subject, one.condition)
        if one.rings and key not in allowed and not _due(pages, one):
            found.setdefault(key, one)
    return [str(one) for one in found.values()]


def forbidden(truth: Mapping[str, Any], lines: Lines) -> list[str]:
    """Rings of what must not be told that night."""
    never = {tuple(pair) for pair in truth["never_conditions"]}
    rings = (one for one in told(lines) if one.rings)
    return [str(one) for one in rings if truth["nobody"] or (one.subject, one.condition) in never]


def _due(pages: Iterable[Mapping[str, Any]], one: Told) -> bool:
    """Asked for, and not told before its time; what is told again later is no fault."""
    return any(fits(page, one) and one.at >= moment(page["from"]) for page in pages)
