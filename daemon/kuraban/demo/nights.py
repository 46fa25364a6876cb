"""The nights that can be shown, and what truly happens in each."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from kuraban.errors import ConfigurationError, Fault

NIGHTS: Final = {
    "cellar": ("demo-night", "a valve sticks, a probe is pulled out, a chiller stops"),
    "koji": ("koji-heat-lost", "the koji room's heater dies at the koji's warmest hour"),
}
"""By the name that a visitor gives: the folder in `fixtures/nights`, and what happens there."""


@dataclass(frozen=True, slots=True)
class Unseen:
    """Something that happens in the night before anybody can know it."""

    at: float
    subject: str
    fault: str


@dataclass(frozen=True, slots=True)
class Night:
    """The recording to play, from when to when, and what truly happened in it."""

    brewery: Path
    recording: Path
    start: float
    end: float
    unseen: tuple[Unseen, ...]


def find_night(fixtures: Path, name: str = "cellar") -> Night:
    """The night of that name; ConfigurationError where there is none of it, or where its recording
    is not there, as in an installed wheel."""
    if name not in NIGHTS:
        there = ", ".join(f"{known} ({what})" for known, (_, what) in NIGHTS.items())
        wrong = f'there is no night "{name}"'
        raise ConfigurationError([Fault("command line", "--night", wrong, f"there are {there}")])
    folder, brewery = fixtures / "nights" / NIGHTS[name][0], fixtures / "brewery"
    recordings = sorted(folder.glob("recording.jsonl*"))
    if not recordings or not (brewery / "site.toml").is_file():
        right = "start ./deploy/demo in a checkout of kuraban; an installed wheel carries no nights"
        raise ConfigurationError([Fault("demo", str(folder), "no night to play", right)])
    truth: dict[str, Any] = json.loads((folder / "truth.json").read_text("utf-8"))
    start, end = (datetime.fromisoformat(truth[key]).timestamp() for key in ("start", "end"))
    unseen = sorted(
        (Unseen(float(i["start"]), i["subject"], i["fault"]) for i in truth["incidents"]),
        key=lambda incident: incident.at,
    )
    return Night(brewery, recordings[0], start, end, tuple(unseen))
