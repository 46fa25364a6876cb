"""What systemd tells a service that it starts (sd_notify(3), sd_watchdog_enabled(3))."""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import NamedTuple


class Supervision(NamedTuple):
    """Where to tell how the watch is, and within how many seconds a good turn must be told."""

    socket: str | None
    watchdog: float | None


def supervision(env: Mapping[str, str] | None = None, process: int | None = None) -> Supervision:
    """Both from the environment; None each where no supervisor asks for it."""
    env = os.environ if env is None else env
    meant = env.get("WATCHDOG_PID", "") in ("", str(process or os.getpid()))
    spell = env.get("WATCHDOG_USEC", "")
    watchdog = int(spell) / 1e6 if meant and spell.isdigit() and int(spell) else None
    return Supervision(env.get("NOTIFY_SOCKET") or None, watchdog)
