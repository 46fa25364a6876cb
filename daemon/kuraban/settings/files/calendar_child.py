"""A calendar file read by a program of its own, which may take so long and no longer.

The libraries that follow a calendar's rules can be led in circles by what stands in it. What they
come to in another process ends with it, and their memory is given back.
"""

from __future__ import annotations

import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec

from kuraban.core.units import DAY

AHEAD = 26 * 7 * DAY
"""How far recurring duties are written out: a season, should nobody restart the watch in it."""
MOST = 4000
"""Events of one file, and duties that are taken from it."""
LONGEST = 15.0
"""Seconds that reading one file may take; a rota of a season takes less than one."""


class Event(msgspec.Struct, frozen=True):
    """One stretch of duty, [start, end), under its title."""

    title: str
    start: float
    end: float


class Read(msgspec.Struct, frozen=True, omit_defaults=True):
    """The titles in a calendar and its duties ahead; or `missing`, why the file cannot be read, or
    `wrong`, what is wrong in it."""

    titles: tuple[str, ...] = ()
    duties: tuple[Event, ...] = ()
    missing: str = ""
    wrong: str = ""


def read_apart(path: Path, zone: ZoneInfo, now: float | None = None) -> Read:
    """What a calendar file comes to from the week of `now` on; without it no duty is written out.

    Never raises for anything that the file can hold.
    """
    command = [sys.executable, "-P", "-W", "ignore", "-m", "kuraban.settings.files.calendars"]
    asked = [str(path), zone.key, *([] if now is None else [str(now)])]
    try:
        done = subprocess.run(
            [*command, *asked], capture_output=True, stdin=subprocess.DEVNULL, timeout=LONGEST
        )
    except subprocess.TimeoutExpired as late:
        told = (late.stderr or b"").decode("utf-8", "replace").splitlines()
        at = f", at the event '{told[-1]}'" if told else ""
        wrong = f"takes longer than {LONGEST:.0f} s to be written out{at}"
        return Read(wrong=f"{wrong}; write fewer or simpler series")
    except OSError as refused:
        return Read(missing=f"no process can be had: {refused.strerror}")
    with suppress(msgspec.MsgspecError):
        return msgspec.json.decode(done.stdout, type=Read)
    return Read(wrong=f"ends whoever reads it ({_why(done)}); export the rota alone")


def _why(done: subprocess.CompletedProcess[bytes]) -> str:
    """The last words of a program that came to nothing."""
    lines = done.stderr.decode("utf-8", "replace").split("\n")
    return next((line[:120] for line in reversed(lines) if line), f"status {done.returncode}")
