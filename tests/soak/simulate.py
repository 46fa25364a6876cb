"""Seasons in little by the thousand, each from a seed, and what was wrong with any of them.

    tests/soak/simulate [--seeds N] [--from N] [--results FILE] [--keep FOLDER]

Every seed that was played stands in the results file, one line each; one that stands there is not
played again, so that a run that was cut off goes on where it was. The first that breaks a rule is
made short and laid into the folder, from where it goes into `tests/simulation/kept`.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from pathlib import Path

import msgspec
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from tests.simulation.script import script_of
from tests.simulation.shrink import played, shrunk

BESIDE = Path(tempfile.gettempdir()) / "kuraban-seasons"


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--seeds", type=int, default=1000, help="how many")
    parser.add_argument("--from", dest="first", type=int, default=0, help="the first of them")
    parser.add_argument("--results", type=Path, default=BESIDE / "results.jsonl")
    parser.add_argument("--keep", type=Path, default=BESIDE, help="for the scripts of what fails")
    asked = parser.parse_args()
    asked.results.parent.mkdir(parents=True, exist_ok=True)
    asked.keep.mkdir(parents=True, exist_ok=True)
    known = done(asked.results)
    wanted = [seed for seed in range(asked.first, asked.first + asked.seeds) if seed not in known]
    began = time.monotonic()
    failed = play(wanted, asked.results, asked.keep)
    spent = time.monotonic() - began
    rate = len(wanted) / spent * 3600 if wanted else 0.0
    print(f"{len(wanted)} seeds, {failed} of them failed, {rate:.0f} an hour")
    return 1 if failed else 0


def done(results: Path) -> set[int]:
    if not results.exists():
        return set()
    return {int(json.loads(line)["seed"]) for line in results.read_text().splitlines()}


def play(seeds: list[int], results: Path, keep: Path) -> int:
    """How many of them failed."""
    failed, rules = 0, set[str]()
    columns = (
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(),
    )  # fmt: skip
    console = Console(stderr=True)
    with Progress(*columns, console=console) as progress, results.open("a") as file:
        bar = progress.add_task("seasons", total=len(seeds))
        for seed in seeds:
            wrong = played(script_of(seed))
            if wrong:
                failed += 1
                console.print(f"seed {seed}: {wrong[0][0]}: {wrong[0][1]}", style="red")
                if wrong[0][0] not in rules:
                    short(seed, wrong[0], keep)
                rules.add(wrong[0][0])
            file.write(json.dumps({"seed": seed, "wrong": wrong[:5]}) + "\n")
            file.flush()
            progress.update(bar, advance=1, description=f"seasons, {failed} failed")
    return failed


def short(seed: int, wrong: tuple[str, str], keep: Path) -> None:
    rule, words = wrong
    found = msgspec.structs.replace(shrunk(script_of(seed), rule), about=f"{rule}: {words}")
    path = keep / f"{rule.replace(' ', '-')}-{seed}.json"
    path.write_bytes(msgspec.json.format(msgspec.json.encode(found), indent=1) + b"\n")


if __name__ == "__main__":
    sys.exit(main())
