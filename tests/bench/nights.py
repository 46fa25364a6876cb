"""Score card: random nights with every fault, judged by their truth, beside two plain alarms.

    tests/bench/nights [--nights N] [--seed S] [--months 1,4] [--jobs J] [--json]

Each seed is a night of ten tanks in each cellar. The same seeds give the same card.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from multiprocessing import Pool
from pathlib import Path
from statistics import median
from typing import Any, NamedTuple

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from fixtures.invent import Night, random_night
from kuraban.core.effects import Message, Step
from kuraban.core.facts import Reading
from kuraban.core.intake.wire import Wire
from kuraban.core.site import House
from kuraban.recording import read_line
from kuraban.replay import Player
from kuraban.settings import load
from kuraban.settings.catalogues import load_words
from tests.bench import judging
from tests.bench.baselines import FixedLimit

RESULTS = Path(__file__).resolve().parent / "results" / "nights.json"
TANKS = 10
FIRST_SEED, NIGHTS, MONTHS = 5000, 60, (1, 4)
WATCHES = ("kuraban", "fixed limit", "fixed limit, 20 min")
CELLARS = {1: "January", 4: "April"}

Told = dict[str, list[judging.Ring]]


class Played(NamedTuple):
    """One night and what each watch made of it."""

    seed: int
    month: int
    truth: dict[str, Any]
    told: Told
    raised: list[judging.Raised]
    messages: int
    seconds: float


def play(job: tuple[int, int]) -> Played:
    """One seed in one cellar, through the core and the plain alarms."""
    seed, month = job
    night = random_night(seed, month)
    player = Player(_house(night), "kura", load_words())
    wire = Wire(player.wire.house, "kura")
    plain = {WATCHES[1]: FixedLimit(0.0), WATCHES[2]: FixedLimit(20 * 60.0)}
    spent = 0.0
    for line in night.lines:
        began = time.perf_counter()
        message = read_line(line.encode())
        player.play(message)
        spent += time.perf_counter() - began
        for fact in wire.read(message.topic, message.payload, message.at, message.retained):
            if isinstance(fact, Reading):
                for alarm in plain.values():
                    alarm.hear(fact, player.engine.view)
    player.engine.wake(night.end)
    story = player.story()
    told = {WATCHES[0]: list(_rings(story)), **{name: one.rings for name, one in plain.items()}}
    return Played(seed, month, night.truth, told, _raised(story), len(night.lines), spent)


def _house(night: Night) -> House:
    with tempfile.TemporaryDirectory() as folder:
        night.write(Path(folder), with_site=True)
        return load(Path(folder) / "site.toml", {}).house


def _rings(story: Iterable[Step | Message]) -> Iterator[judging.Ring]:
    for event in story:
        if isinstance(event, Message) and (event.step == "page" or event.urgency != "log"):
            for name in event.alarms:
                subject, _, condition = name.partition("/")
                loud = event.step == "page"
                wakes = loud and event.urgency == "wake"
                yield judging.Ring(
                    event.at, subject, condition, event.role, wakes, loud, event.rung, event.id
                )


def _raised(story: Iterable[Step | Message]) -> list[judging.Raised]:
    return [
        judging.Raised(event.at, event.subject, event.condition)
        for event in story
        if isinstance(event, Step) and event.step in ("raised", "realarmed", "released")
    ]


# The card.


def score(jobs: list[tuple[int, int]], workers: int = 1) -> tuple[dict[str, Any], float]:
    """The card of these nights, and microseconds a message."""
    tallies = {name: judging.Tally() for name in WATCHES}
    messages, spent = 0, 0.0
    for played in _all(jobs, workers):
        messages, spent = messages + played.messages, spent + played.seconds
        for name, tally in tallies.items():
            raised = played.raised if name == WATCHES[0] else []
            rings = played.told[name]
            judging.Night(played.seed, played.month, played.truth, rings, raised, tally).judge()
    seeds = sorted({seed for seed, _ in jobs})
    months = sorted({month for _, month in jobs})
    card = {
        "seeds": [seeds[0], seeds[-1]],
        "cellars": [CELLARS.get(month, str(month)) for month in months],
        "tank_nights": len(jobs) * TANKS,
        "watches": {name: figures(tally, len(jobs) * TANKS) for name, tally in tallies.items()},
        "cases": [case._asdict() for case in tallies[WATCHES[0]].cases],
    }
    return card, spent / max(messages, 1) * 1e6


def _all(jobs: list[tuple[int, int]], workers: int) -> Iterator[Played]:
    columns = (
        TextColumn("nights"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(),
    )  # fmt: skip
    console = Console(stderr=True)
    with Progress(
        *columns, console=console, transient=True, disable=not sys.stderr.isatty()
    ) as bar:
        if workers == 1:
            yield from bar.track(map(play, jobs), total=len(jobs))
        else:
            with Pool(workers) as pool:
                yield from bar.track(pool.imap(play, jobs), total=len(jobs))


def figures(tally: judging.Tally, tank_nights: int) -> dict[str, Any]:
    """The figures of one watch; times in minutes."""
    leads = [drift.lead for drift in tally.drifts if drift.lead is not None]
    after_due = [drift.after_due for drift in tally.drifts]
    found = [waited for waited in tally.displaced if waited is not None]
    probed = [waited for waited in tally.probed if waited is not None]
    return {
        "false_wakes": tally.false_wakes,
        "false_wakes_per_100_tank_nights": round(100 * tally.false_wakes / tank_nights, 2),
        "false_by_day": tally.false_by_day,
        "false_trends_listed": tally.false_trends,
        "due": tally.due,
        "missed": {kind: tally.missed.get(kind, 0) for kind in tally.due},
        "late": tally.late,
        "wrong_role": tally.wrong_role,
        "drifts_told": len(tally.drifts),
        "drifts_told_within_10_min_of_due": sum(after <= 600.0 for after in after_due),
        "drifts_told_within_10_min_and_0.04_K_of_due": sum(
            drift.after_due <= 600.0 + drift.unsure for drift in tally.drifts
        ),
        "after_exit": _spread([drift.after_exit for drift in tally.drifts], max),
        "after_due": _spread(after_due, max),
        "lead_before_limit": _spread(leads, min),
        "incidents_rung": tally.incidents,
        "rings_per_incident": _ratio(tally.first_rings, tally.incidents),
        "rings_per_incident_if_nobody_answers": _ratio(tally.all_rings, tally.incidents),
        "displaced": {
            "probes": len(tally.displaced),
            "within_15_min": sum(waited <= 900.0 for waited in found),
            "minutes": _spread(found, max),
            "told_as_warm_or_cold": tally.displaced_as_product,
        },
        "probed_cooler": {
            "failures": len(tally.probed),
            "within_10_min": sum(waited <= 600.0 for waited in probed),
            "within_11_min": sum(waited <= 660.0 for waited in probed),
            "minutes": _spread(probed, max),
        },
        "unprobed_cooler": {
            "with_a_tank_past_its_limit": len(tally.unprobed),
            "told_before": sum(tally.unprobed),
            "minutes": _spread(tally.unprobed_told, max),
        },
    }


def _spread(seconds: list[float], worst: Any) -> dict[str, float] | None:
    if not seconds:
        return None
    return {"median": round(median(seconds) / 60, 1), "worst": round(worst(seconds) / 60, 1)}


def _ratio(count: int, among: int) -> float | None:
    return round(count / among, 2) if among else None


def show(card: dict[str, Any], out: Console) -> None:
    """The card as a table, the misjudged nights below it."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("", no_wrap=True)
    for name in WATCHES:
        table.add_column(name, justify="right")
    for row in zip(*(_rows(card["watches"][name]) for name in WATCHES), strict=True):
        table.add_row(row[0][0], *(cell for _, cell in row))
    first, last = card["seeds"]
    cellars = " and ".join(card["cellars"])
    out.print(f"{card['tank_nights']:,} tank-nights, seeds {first} to {last}, {cellars} cellars\n")
    out.print(table)
    if card["cases"]:
        out.print("\nTo look at (kuraban):")
    for case in card["cases"]:
        out.print("  {what}: seed {seed} month {month} {subject} {kind}; {detail}".format(**case))


def _rows(one: dict[str, Any]) -> Iterator[tuple[str, str]]:
    yield "false wakes", str(one["false_wakes"])
    yield "false wakes in 100 tank-nights", f"{one['false_wakes_per_100_tank_nights']:g}"
    yield "false rings by day or to those awake", str(one["false_by_day"])
    yield "trends listed that came to nothing", str(one["false_trends_listed"])
    for kind in ("drifts", "coolers", "blind tanks"):
        due = one["due"].get(kind, 0)
        yield f"missed {kind}", f"{one['missed'].get(kind, 0)} of {due}"
    yield "told late", str(one["late"])
    yield "wrong role", str(one["wrong_role"])
    told, within = one["drifts_told"], one["drifts_told_within_10_min_of_due"]
    yield "drifts told within 10 min of exit and delay", f"{within} of {told}"
    within = one["drifts_told_within_10_min_and_0.04_K_of_due"]
    yield "  and what 0.04 K are worth in time", f"{within} of {told}"
    yield "after the true exit, min (median, worst)", _pair(one["after_exit"])
    yield "after exit and delay, min (median, worst)", _pair(one["after_due"])
    yield "before the limit, min (median, least)", _pair(one["lead_before_limit"])
    yield "rings an incident", _maybe(one["rings_per_incident"])
    yield "rings an incident, nobody answering", _maybe(one["rings_per_incident_if_nobody_answers"])
    out, probed, bare = one["displaced"], one["probed_cooler"], one["unprobed_cooler"]
    yield "displaced probes within 15 min", f"{out['within_15_min']} of {out['probes']}"
    yield "  minutes (median, worst)", _pair(out["minutes"])
    yield "  told as warm or cold", str(out["told_as_warm_or_cold"])
    yield "probed coolers within 10 min", f"{probed['within_10_min']} of {probed['failures']}"
    yield "  within 11, one reading more", f"{probed['within_11_min']} of {probed['failures']}"
    yield "  minutes (median, worst)", _pair(probed["minutes"])
    limits = bare["with_a_tank_past_its_limit"]
    yield "unprobed coolers before any tank's limit", f"{bare['told_before']} of {limits}"
    yield "  minutes from the failure (median, worst)", _pair(bare["minutes"])


def _pair(spread: dict[str, float] | None) -> str:
    return "-" if spread is None else f"{spread['median']:g}, {spread['worst']:g}"


def _maybe(figure: float | None) -> str:
    return "-" if figure is None else f"{figure:g}"


def run(
    nights: int, seed: int, *, months: tuple[int, ...] = MONTHS, jobs: int = 1,
    as_json: bool = False, results: Path | None = None,
) -> dict[str, Any]:  # fmt: skip
    """Play, print, and write the card down where asked."""
    todo = [(seed + number, month) for number in range(nights) for month in months]
    card, pace = score(todo, jobs)
    text = json.dumps(card, indent=1, ensure_ascii=False)
    if results is not None:
        results.parent.mkdir(parents=True, exist_ok=True)
        results.write_text(text + "\n", encoding="utf-8")
    out = Console(highlight=False, soft_wrap=True, width=None if sys.stdout.isatty() else 120)
    if as_json:
        out.print(text, markup=False)
    else:
        show(card, out)
        print(f"{pace:.0f} µs a message", file=sys.stderr)
    return card


def main() -> None:
    parser = argparse.ArgumentParser(description="The score card of random nights.")
    parser.add_argument("--nights", type=int, default=NIGHTS, help="seeds; each in every cellar")
    parser.add_argument("--seed", type=int, default=FIRST_SEED, help="the first seed")
    parser.add_argument("--months", default="1,4", help="cellars, by their month")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--json", action="store_true", help="print JSON instead of a table")
    parser.add_argument("--out", type=Path, default=RESULTS, help="where the JSON is kept")
    asked = parser.parse_args()
    months = tuple(int(month) for month in asked.months.split(","))
    run(asked.nights, asked.seed, months=months, jobs=asked.jobs, as_json=asked.json,
        results=asked.out)  # fmt: skip


if __name__ == "__main__":
    main()
