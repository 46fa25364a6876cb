"""The invented brewery of the simulation: three tanks, a koji bed, a store, and how warm they are.

Each reading bears its own number in its last decimals, so that it can be found again in the journal
and be told from every other.
"""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

from kuraban.core.site import Cooler, Duty, House, Place, Probe, Site
from kuraban.core.units import HOUR, MINUTE
from kuraban.settings.model import Addresses, Mqtt, Outward, Settings
from tests.core.house import KOJI, MASH, PEOPLE, moment
from tests.simulation.script import Event, Script

START = moment("2026-02-01T15:00")
"""A Sunday afternoon in the season."""
TURNS = {
    "": ("Asia/Tokyo", START),
    "forward": ("Europe/Berlin", moment("2026-03-28T23:00")),
    "back": ("Europe/Berlin", moment("2026-10-24T22:00")),
}
"""A house's zone, and when its season begins: at 15:00 there."""
PING_EVERY = 300.0
TANKS = ("tank-1", "tank-2", "tank-3")
BED, STORE = "bed-1", "store"
PLANNED = {**dict.fromkeys(TANKS, 10.0), BED: 32.0, STORE: 5.0}
OUTSIDE = {**dict.fromkeys(TANKS, 0.5), BED: 1.0, STORE: 3.0}
"""K from the plan, or the middle of the band, beyond which it is out of its tolerance."""
AFTER = {**dict.fromkeys(TANKS, HOUR), BED: 10 * MINUTE, STORE: 45 * MINUTE}
"""For so long before it is told."""
EVERY = {"t1-mid": 8, "t2-mid": 8, "t3-mid": 8, "b1-mid": 4, "s-air": 15}
"""Minutes."""
OF = dict(zip(EVERY, (*TANKS, BED, STORE), strict=True))
DATED = ("t1-mid", "b1-mid")
"""Probes whose boards have a clock and send its time."""
MARK = 1e-6
"""What one more reading of a probe adds to its value."""

ALWAYS = (
    Duty(role="brewer", person="aki", order=1),
    Duty(role="brewer", person="bun", order=2),
    Duty(role="maintenance", person="ken", order=1),
    Duty(role="crew", person="dai", order=1),
)
SHIFTS = (
    Duty(role="brewer", person="bun", order=1, hours=(6 * HOUR, 21 * HOUR)),
    Duty(role="brewer", person="aki", order=1, hours=(21 * HOUR, 6 * HOUR)),
    Duty(role="brewer", person="dai", order=2),
    Duty(role="maintenance", person="ken", order=1, hours=(6 * HOUR, 22 * HOUR)),
    Duty(role="crew", person="dai", order=1),
)
NIGHT = (*ALWAYS, Duty(role="crew", person="cho", order=2, hours=(22 * HOUR, 6 * HOUR), awake=True))
ROTAS = {"always": ALWAYS, "shifts": SHIFTS, "night": NIGHT}


@cache
def house(rota: str, zone: str) -> House:
    return House(
        site=Site(name="Simulated brewery", timezone=zone),
        places=(
            *(Place(id=name, kind="tank", name=name.title().replace("-", " "), cooler="chiller-1")
              for name in TANKS),
            Place(id=BED, kind="koji-bed", name="Koji bed 1"),
            Place(id=STORE, kind="cold-store", name="Koji store", band=(2.0, 8.0),
                  delay=AFTER[STORE]),
        ),
        coolers=(Cooler(id="chiller-1", kind="chilled-water", name="Chiller 1"),),
        probes=tuple(
            Probe(id=probe, of=OF[probe], measures="air" if OF[probe] == STORE else "product",
                  every=minutes * MINUTE)
            for probe, minutes in EVERY.items()
        ),
        people=PEOPLE,
        rota=ROTAS[rota],
        courses=(MASH, KOJI),
    )  # fmt: skip


def settings(script: Script, data: Path) -> Settings:
    addresses = {
        person.id: Addresses(tuple(f"sim://{person.id}-{n}" for n in range(1, 2 + (n0 % 2))))
        for n0, person in enumerate(PEOPLE)
    }
    return Settings(
        house=house(script.rota, TURNS[script.turns][0]), mqtt=Mqtt(turn=script.turn),
        addresses=addresses, data=data, outward=Outward("sim://far-end", PING_EVERY),
    )  # fmt: skip


class Warmth:
    """How warm each place truly is."""

    def __init__(self, events: list[Event]) -> None:
        self._drifts = [event for event in events if event.do == "drift"]

    def at(self, place: str, hours: float) -> float:
        return PLANNED[place] + sum(
            self._by(event, hours) for event in self._drifts if event.where == place
        )

    @staticmethod
    def _by(event: Event, hours: float) -> float:
        """Up by `rate` K an hour to `height`, for `lasts` hours in all, and back as fast."""
        rate, height = abs(event.rate), event.height
        since, left = hours - event.at, event.at + event.lasts - hours
        return math.copysign(max(0.0, min(since * rate, abs(height), left * rate)), height)


def quiver(probe: str, number: int) -> float:
    """What a thermometer adds, K."""
    return 0.02 * ((number * 7 + len(probe) * 3 + ord(probe[1])) % 5 - 2)
