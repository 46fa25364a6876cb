"""What the brewer's arithmetic is worth to the judging: the same nights with and without it.

    tests/bench/reckoned [--nights N] [--seed S]

Three kinds of night, N of each by lot, each lived twice through the whole core:

- rice goes in with its weight and warmth logged; in every second night it was warmer than logged,
  by enough to be felt. Without: the same entries without their figures.
- a first addition fills the tank to below its probe, or to above it. Without: the probe's
  `dry_below` is not known.
- a chiller stops in the evening, its tanks quiet or hot. Without: hours in hand are not reckoned.

What really happens is reckoned here by plain heat balances and lines, not by the watch's own
formulas. Specific heats: steamed rice of 38 % water 2.11, mash 3.7 kJ/(kg K), by Siebel 1892
(0.837 + 3.349 of the water's share), as handbooks of food engineering give it.
"""

from __future__ import annotations

import argparse
import random
from collections import Counter
from collections.abc import Callable
from unittest.mock import patch

import msgspec
from rich.console import Console
from rich.progress import track
from rich.table import Table

from kuraban.core.notify import quiet_cooler_alarm as soundless
from tests.bench import ground
from tests.core.detectors.kit import (
    AIR,
    CELLAR,
    MID,
    TANK,
    Night,
    cellar,
    course,
    house,
    noisy,
    saw,
    stage,
)
from tests.core.forecast.test_warming_rate import CHILLER, PERIOD, VALVE, shut

RICE, MASH = 2.11, 3.7
FELT = (1.2, 3.0)
"""K by which a landing is off in the nights in which something is wrong."""
MORNING = 1768860000.0
SOE = course(stage("soe", 11.0, hours=48, settle=3 * 3600.0), stage())
AT_SOE = course(stage("soe", 12.0, hours=48), stage("tome", 8.0, hours=48), stage())


def addition(rng: random.Random, off: bool, reckoned: bool) -> Counter[str]:
    litres, kg = rng.uniform(300, 800), rng.uniform(80, 220)
    mash, rice = rng.uniform(9, 12), rng.uniform(8, 25)
    night = Night(house(TANK, MID, courses=(SOE,)), start=MORNING)
    night.batch(since=0)
    night.log("tank", "addition", what="water-koji", litres=round(litres))
    night.play(60, mid=noisy(mash))
    figures = {"kg": round(kg), "celsius": round(rice, 1)} if reckoned else {}
    night.log("tank", "addition", what="rice", **figures)
    held = litres * 1.02 * MASH
    landing = (held * mash + kg * RICE * rice) / (held + kg * RICE)
    landing += rng.choice((-1, 1)) * rng.uniform(*FELT) if off else rng.uniform(-0.2, 0.2)
    night.play(240, mid=noisy(lambda minute: mash if minute < 62 else landing))
    told = any("landed" in message.title for message in night.messages())
    return Counter({"off": off, "off, told": off and told, "right, told": told and not off})


def dry(rng: random.Random, hangs: bool, reckoned: bool) -> Counter[str]:
    litres = rng.uniform(300, 600) if hangs else rng.uniform(950, 1200)
    probe = msgspec.structs.replace(MID, dry_below=900.0) if reckoned else MID
    night = Night(house(TANK, CELLAR, AIR, probe, courses=(AT_SOE,)), start=MORNING)
    night.batch(since=0)
    night.log("tank", "addition", what="water-koji", litres=round(litres))
    air = rng.uniform(3.0, 8.0)
    night.play(480, mid=noisy(air + 0.3 if hangs else 12.1), air=noisy(air))
    rung = {m.alarms[0] for m in night.messages() if m.step == "page" and m.alarms}
    false = {alarm for alarm in rung if alarm.startswith("tank/") and "unwatched" not in alarm}
    return Counter({"dry": hangs, "dry, told as cold mash": hangs and bool(false),
                    "wet, not believed": not hangs and not night.view.probe_states["mid"].good(
                        night.start + 60 * night.minute)})  # fmt: skip


def chiller(rng: random.Random, hot: bool, reckoned: bool) -> Counter[str]:
    an_hour = rng.uniform(0.10, 0.16) if hot else rng.uniform(0.0, 0.03)
    running = msgspec.structs.replace(VALVE, id="running", of="chiller", measures="running")
    night = Night(cellar(CHILLER, VALVE, running, cooler="chiller"))
    night.batch()
    trace = noisy(saw(9.9, max(an_hour, 0.03) * 1.6, PERIOD), seed=rng.randrange(1000))
    night.play(720, mid=trace, air=8.0, valve=shut, running=lambda minute: 1.0)
    last = 9.9
    hours = patch.object(soundless, "hours_in_hand", soundless.hours_in_hand)
    if not reckoned:
        hours = patch.object(soundless, "hours_in_hand", lambda *_: None)
    with hours:
        night.play(720 + 300, mid=noisy(lambda minute: last + an_hour * (minute - 720) / 60),
                   air=8.0, valve=1.0, running=0.0)  # fmt: skip
    woken = bool(night.pages("chiller/stopped"))
    return Counter({
        "quiet": not hot, "quiet, woken within 5 h": woken and not hot,
        "hot": hot, "hot, not woken": hot and not woken,
    })  # fmt: skip


KINDS: dict[str, Callable[[random.Random, bool, bool], Counter[str]]] = {
    "addition": addition, "dry probe": dry, "chiller": chiller,
}  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description="The judging with and without the arithmetic.")
    parser.add_argument("--nights", type=int, default=100, help="of each kind")
    parser.add_argument("--seed", type=int, default=4000)
    asked = parser.parse_args()
    found: dict[str, dict[str, dict[str, int]]] = {}
    for kind, live in KINDS.items():
        sums = {True: Counter[str](), False: Counter[str]()}
        for number in track(range(asked.nights), kind, transient=True):
            for reckoned in (True, False):
                rng = random.Random(f"{kind} {asked.seed + number}")
                sums[reckoned].update(live(rng, number % 2 == 0, reckoned))
        names = sorted({*sums[True], *sums[False]})
        found[kind] = {
            name: {"with": sums[True][name], "without": sums[False][name]} for name in names
        }
    _print(found)
    ground.keep("reckoned", nights=asked.nights, first_seed=asked.seed, kinds=found)


def _print(found: dict[str, dict[str, dict[str, int]]]) -> None:
    table = Table(box=None, padding=(0, 2, 0, 0))
    for column in ("", "with", "without"):
        table.add_column(column, justify="right" if column else "left")
    for kind, sums in found.items():
        for name, count in sums.items():
            table.add_row(f"{kind}: {name}", str(count["with"]), str(count["without"]))
    Console().print(table)


if __name__ == "__main__":
    main()
