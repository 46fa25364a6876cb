"""Every figure that is measured quickly, in one run, each beside its bare counterpart.

    tests/bench/figures [--rounds N] [--only NAME…]

Each bench is run by its own command, small, and its figures are read from the results that it
writes, which go elsewhere meanwhile; what stands in `results/figures.json` is compared with what is
found now. Where there is a bare counterpart (a loop that only decodes, a client that only counts, a
bare table) the ratio is compared, since a busy machine slows both. A figure has fallen when it is
worse by more than a tenth and by more than its rounds, then and now, differ among themselves: it is
named, and the exit status is 1. The last round's profiles stay with the benches' own results.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from functools import reduce
from pathlib import Path
from typing import Any, NamedTuple

from rich.console import Console
from rich.table import Table

from tests.bench import ground

KEPT = ground.RESULTS / "figures.json"
LEAST = 0.1
"""Share by which a figure must be worse to have fallen."""
Way = tuple[str | int, ...]
"""Keys on the way through what a bench writes."""


class Figure(NamedTuple):
    name: str
    way: Way
    bare: Way = ()
    more: bool = False
    """Whether more is better."""


class Bench(NamedTuple):
    """A bench's module, what it is asked, and what is read off its results."""

    module: str
    asked: tuple[str, ...]
    figures: tuple[Figure, ...]


BENCHES = (
    Bench("replay", ("--days", "1", "--profile", "{}/replay.txt"), (
        Figure("replay, µs a reading", ("replayed",), ("decoded",)),
    )),
    Bench("ingest", ("--messages", "20000", "--rounds", "2"), (
        Figure("live turn, µs a message", ("live", "processor_us_a_message"),
               ("bare", "processor_us_a_message")),
    )),
    Bench("latency", ("--pages", "60"), (
        Figure("reading to page, ms", ("reading to page", "median_ms")),
        Figure("answer to notice, ms", ("answer to notice", "median_ms")),
    )),
    Bench("start", (), tuple(
        Figure(f"start, {how}, processor s", (how, "worked"))
        for how in ("stopped", "killed", "upgraded")
    )),
    Bench("memory", ("--hours", "0.5"), (
        Figure("the watch at 500 probes, MB", ("mb", "the watch alone", "end")),
        Figure("the pages' process, MB", ("mb", "pages", "beside")),
    )),
    Bench("growth", ("--sizes", "100,1000", "--minutes", "20", "--rounds", "1"), (
        Figure("whole turn at 1,000 probes, µs a reading", ("sizes", 1, "reading_us"),
               ("sizes", 0, "reading_us")),
    )),
    Bench("forward", ("--points", "100000"), (
        Figure("long history, points a second", ("points_a_second", "forwarder"),
               ("points_a_second", "points"), more=True),
    )),
    Bench("imported", ("--rows", "100000"), (
        Figure("import, rows a minute", ("rows_a_minute_of_processor_time", "import"),
               ("rows_a_minute_of_processor_time", "bare"),
               more=True),
    )),
    Bench("card", ("--readings", "1500"), tuple(
        Figure(f"card, bytes a reading, {turn} in a turn", ("bytes_a_reading", turn),
               ("bare_table", turn))
        for turn in ("1", "3", "100")
    )),
)  # fmt: skip
FILES = {"imported": "import"}
"""Results that are not called as the bench's module."""


class Found(NamedTuple):
    """The best of the rounds; `spread` is the share by which they differ."""

    value: float
    bare: float | None
    ratio: float | None
    spread: float

    @property
    def compared(self) -> float:
        return self.value if self.ratio is None else self.ratio


def results(bench: Bench) -> dict[str, Any] | None:
    """What one run of a bench wrote; None where it failed, which it says itself."""
    with tempfile.TemporaryDirectory() as folder:
        asked = [word.format(folder) for word in bench.asked]
        command = [sys.executable, "-m", f"tests.bench.{bench.module}", *asked]
        env = {**os.environ, "BENCH_RESULTS": folder}
        if subprocess.run(command, cwd=ground.ROOT, env=env, stdout=sys.stderr).returncode:
            return None
        if bench.module == "replay":
            return _replayed(Path(folder, "replay.txt").read_text(encoding="utf-8"))
        name = FILES.get(bench.module, bench.module)
        told: dict[str, Any] = json.loads(Path(folder, f"{name}.json").read_text("utf-8"))
        return told


def _replayed(report: str) -> dict[str, float]:
    paces = re.findall(r"(replayed|decoded): ([\d.]+) µs", report)
    return {name: float(pace) for name, pace in paces}


def best(figure: Figure, rounds: list[dict[str, Any]]) -> Found:
    """The best round by what is compared."""
    taken = []
    for told in rounds:
        value = _at(told, figure.way)
        bare = _at(told, figure.bare) if figure.bare else None
        taken.append((value if bare is None else value / bare, value, bare))
    taken.sort(reverse=figure.more)
    compared = [one[0] for one in taken]
    spread = (max(compared) - min(compared)) / min(compared)
    ratio, value, bare = taken[0]
    return Found(
        round(value, 3), None if bare is None else round(bare, 3),
        None if bare is None else round(ratio, 3), round(spread, 3),
    )  # fmt: skip


def _at(told: Any, way: Way) -> float:
    return float(reduce(lambda part, key: part[key], way, told))


def fell(figure: Figure, before: Found, now: Found) -> float | None:
    """By which share it is worse than it was; None where that is within the noise."""
    was, be = before.compared, now.compared
    worse = was / be - 1 if figure.more else be / was - 1
    return worse if worse > max(LEAST, before.spread + now.spread) else None


def measured(benches: Iterable[Bench], rounds: int) -> tuple[dict[str, Found], list[str]]:
    """What was found, by figure, and the benches that failed."""
    found: dict[str, Found] = {}
    failed = []
    for bench in benches:
        told = [one for _ in range(rounds) if (one := results(bench)) is not None]
        if not told:
            failed.append(bench.module)
            continue
        found |= {figure.name: best(figure, told) for figure in bench.figures}
    return found, failed


def main() -> None:
    parser = argparse.ArgumentParser(description="Every quick figure in one run.")
    parser.add_argument("--rounds", type=int, default=2, help="of each bench; the best counts")
    parser.add_argument("--only", nargs="+", metavar="NAME", help="benches by their module")
    asked = parser.parse_args()
    kept = json.loads(KEPT.read_text("utf-8"))["figures"] if KEPT.exists() else {}
    before = {name: Found(**told) for name, told in kept.items()}
    where = ground.machine()
    wanted = [one for one in BENCHES if not asked.only or one.module in asked.only]
    found, failed = measured(wanted, asked.rounds)
    table = Table("figure", "now", "bare", "ratio", "before", box=None, padding=(0, 2, 0, 0))
    worse = []
    for figure in (one for bench in wanted for one in bench.figures if one.name in found):
        now, was = found[figure.name], before.get(figure.name)
        shown = (now.value, now.bare, now.ratio, was.compared if was else None)
        table.add_row(figure.name, *("" if one is None else f"{one:,.6g}" for one in shown))
        by = fell(figure, was, now) if was else None
        if by is not None:
            worse.append(f"{figure.name}: worse by {by:.0%}")
    Console().print(table)
    both = {**kept, **{name: one._asdict() for name, one in found.items()}}
    ground.keep("figures", machine=where, rounds=asked.rounds, figures=both)
    print(*worse, *(f"{module} failed" for module in failed), sep="\n")
    sys.exit(1 if worse or failed else 0)


if __name__ == "__main__":
    main()
