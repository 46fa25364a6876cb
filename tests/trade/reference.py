"""Textbook arithmetic that tests hold the watch against and that the watch does not need."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Delayed:
    """A high limit with deadband and delays, between readings: IEC 62682, OPC 10000-9.

    Rings when `on` readings in a row exceed `limit`; clears when `off` in a row are at or below
    `limit - deadband`. `count` is the run towards the change.
    """

    limit: float
    deadband: float = 0.0
    on: int = 1
    off: int = 1
    alarm: bool = False
    count: int = 0


def delayed_step(state: Delayed, value: float) -> Delayed:
    """The limit after one reading; compare `alarm` before and after."""
    if state.alarm:
        moves, needed = value <= state.limit - state.deadband, state.off
    else:
        moves, needed = value > state.limit, state.on
    count = state.count + 1 if moves else 0
    if count < needed:
        return replace(state, count=count)
    return replace(state, alarm=not state.alarm, count=0)


def readings_to_alarm(p: float, n: int) -> float:
    """Mean readings until n in a row lie beyond a limit, each by chance `p`.

    Adnan, Izadi and Chen 2011, J. Process Control 21:1318.
    """
    return (1 - p**n) / ((1 - p) * p**n)


def approach(start: float, room: float, tau: float, after: float) -> float:
    """Newton's law (Incropera ch. 5): °C `after` so long, with the time constant `tau`."""
    return room + (start - room) * math.exp(-after / tau)


def time_to_reach(start: float, room: float, target: float, tau: float) -> float:
    """The same, solved for the time."""
    return -tau * math.log((target - room) / (start - room))
