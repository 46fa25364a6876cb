"""Nights of the invented plants through the watch, scored by their truth beside plain alarms.

Each plant of `fixtures.plants` with N nights of each of its kinds, from seed `--first` on; a line
for each plant and kind, and one for each plant. The plain alarms ring at a fixed limit at once and
after 20 and 30 min on the same recordings.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from multiprocessing import Pool
from pathlib import Path
from statistics import median
from typing import Any, NamedTuple

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from fixtures.plants import PLANTS, kinds, make
from fixtures.plants.plain import plain_alarm, readings
from fixtures.plants.score import Score, score
from tests.bench import ground

DELAYS = (0, 20, 30)
HEADS = (
    "kind", "nights", "wakes", "doubt", "maint", "crew", "day", "list", "asked", "missed", "late",
    "minutes", "early", "air", "pages", "rings", "plain 0", "20", "30",
)  # fmt: skip
LEGEND = """
wakes, maint, crew, day: false wakes of the brewer, false words to maintenance, to the crew, to the
brewer without waking; doubt: arguable wakes; list: false alarms raised, told or not.
asked, missed: what had to be told and was not, in brackets what had to wake the brewer; late: told
after its time; minutes: from due to the first word, median (longest); early: of these before due.
air: probes in the air told as warm or cold; pages: a person a night (the most that one person got
from nine to six); rings: pages an incident.
plain 0, 20, 30: a fixed limit after so many minutes: false wakes/missed of what wakes the brewer.
"""


class Result(NamedTuple):
    """One night: the score of the watch, and of the plain alarm at each of `DELAYS`."""

    watch: Score
    plain: tuple[Score, ...]


def watched(folder: Path) -> list[dict[str, Any]]:
    """What the watch tells of a night written to `folder`, asked by its command alone."""
    out, recording = folder / "timeline.jsonl", folder / "recording.jsonl"
    asked = ["replay", "--site", folder / "site.toml", recording, "--timeline", out]
    command = [sys.executable, "-c", "from kuraban.cli import main; main()", *map(str, asked)]
    subprocess.run(command, check=True, capture_output=True)
    return [json.loads(line) for line in out.read_text(encoding="utf-8").splitlines()]


def one(job: tuple[str, int]) -> Result:
    night = make(*job)
    with tempfile.TemporaryDirectory() as place:
        night.write(Path(place))
        told = watched(Path(place))
    values = readings(night.lines, night.truth["first_probe"].values())
    plain = [score(night.truth, plain_alarm(night.truth, values, 60 * d)) for d in DELAYS]
    return Result(score(night.truth, told), tuple(plain))


def jobs(plants: list[str], seeds: int, first: int) -> list[tuple[str, int]]:
    """`seeds` nights of every kind of every plant."""
    return [(plant, first + n) for plant in plants for n in range(seeds * len(kinds(plant)))]


def played(todo: list[tuple[str, int]], processes: int) -> Iterator[Result]:
    if processes == 1:
        yield from map(one, todo)
        return
    with Pool(processes) as pool:
        yield from pool.imap(one, todo)


def summed(results: list[Result]) -> dict[tuple[str, str], Result]:
    """By plant and kind, in the order of the plants; a plant's sum follows its kinds."""
    found: dict[tuple[str, str], Result] = {}
    for plant in PLANTS:
        for kind in (*kinds(plant), "all"):
            these = [r for r in results if r.watch.plant == plant and kind in (r.watch.kind, "all")]
            if these:
                found[plant, kind] = _sum(plant, kind, these)
    return found


def _sum(plant: str, kind: str, results: list[Result]) -> Result:
    sums = [Score(plant, kind, nights=0) for _ in range(1 + len(DELAYS))]
    for result in results:
        for whole, part in zip(sums, (result.watch, *result.plain), strict=True):
            whole.add(part)
    return Result(sums[0], tuple(sums[1:]))


def row(plant: str, kind: str, result: Result) -> list[str]:
    """One line of the table. In brackets: what wakes a brewer, of what was asked and missed. A
    plain alarm shows its false wakes / what it missed of those."""
    sum_, minutes = result.watch, result.watch.minutes
    pages = sum(sum_.pages.values())
    after = f"{median(minutes):.0f} ({max(minutes):.0f})" if minutes else "-"
    counts = (
        sum_.nights, sum_.false_wakes, sum_.arguable_wakes, sum_.false_maintenance,
        sum_.false_crew, sum_.false_duty, sum_.false_listed, f"{sum_.asked} ({sum_.asked_wakes})",
        f"{sum_.missed} ({sum_.missed_wakes})", sum_.late,
    )  # fmt: skip
    return [
        plant.upper() if kind == "all" else kind, *map(str, counts), after,
        str(sum_.early), str(sum_.displaced_as_product),
        f"{pages / sum_.people:.2f} ({max(sum_.most)})",
        f"{pages / sum_.incidents:.1f}" if sum_.incidents else "-",
        *(f"{plain.false_wakes}/{plain.missed_wakes}" for plain in result.plain),
    ]  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(prog="tests/bench/plants", description=__doc__)
    parser.add_argument("--seeds", type=int, default=3, help="nights of each kind")
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--plant", choices=PLANTS, action="append", help="only this one")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--wrong", action="store_true", help="list every false and missed word")
    given = parser.parse_args()
    console, results = Console(width=150), []
    todo = jobs(given.plant or list(PLANTS), given.seeds, given.first)
    bars = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn()
    with Progress(*bars, TimeRemainingColumn(), console=Console(stderr=True)) as progress:
        bar = progress.add_task("nights", total=len(todo))
        for result in played(todo, given.jobs):
            results.append(result)
            progress.advance(bar)
    table = Table(*HEADS, box=SIMPLE_HEAD, padding=(0, 0, 0, 1))
    rows = [row(plant, kind, result) for (plant, kind), result in summed(results).items()]
    for cells in rows:
        table.add_row(*cells, end_section=cells[0].isupper())
    console.print(table)
    console.print(LEGEND.strip())
    wrong = [text for result in results for text in result.watch.wrong]
    if given.wrong:
        console.print("\n".join(wrong), soft_wrap=True)
    asked = {"seeds": given.seeds, "first": given.first}
    lines = [dict(zip(HEADS, cells, strict=True)) for cells in rows]
    ground.keep("plants", machine=ground.machine(), asked=asked, rows=lines, wrong=wrong)


if __name__ == "__main__":
    main()
