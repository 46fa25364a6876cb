"""Nights played by two checkouts: the same bytes of steps and messages, or which not.

    tests/soak/same OTHER [--nights N] [--from N]

For who makes the judging cheaper and means to change nothing of it. OTHER is a checkout of the
state before (`git worktree add OTHER main`). Nights by lot in a January and an April cellar take
turns with those of the invented plants, every fault among them.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from rich.progress import track

from fixtures import plants
from fixtures.invent import random_night
from tests.bench import ground

PLAY = """
import sys, kuraban
sys.exit(f"{kuraban.__file__} was played") if sys.argv.pop(1) not in kuraban.__file__ else None
from kuraban.cli import main
main()
"""


def write(number: int, folder: Path) -> None:
    """One night with its site: by lot where the number is even, else of a plant."""
    seed, kind = number // 4, number // 2
    if number % 2 == 0:
        random_night(seed, (1, 4)[kind % 2]).write(folder, with_site=True)
    else:
        plants.make(plants.PLANTS[kind % len(plants.PLANTS)], seed).write(folder)


def told(folder: Path, trees: list[Path]) -> list[bytes]:
    """The timeline of a night by each tree, both at once; the end where one fails."""
    recording = next(folder.glob("recording.jsonl*"))
    asked = ["replay", "--site", folder / "site.toml", recording, "--timeline"]
    playing = []
    for number, tree in enumerate(trees):
        out, daemon = folder / f"timeline-{number}.jsonl", tree / "daemon"
        command = [sys.executable, "-c", PLAY, daemon, *asked, out]
        path = {**os.environ, "PYTHONPATH": str(daemon)}
        playing.append((out, subprocess.Popen(command, env=path, stderr=subprocess.PIPE)))
    for _, one in playing:
        said = one.communicate()[1]
        if one.returncode:
            sys.exit(said.decode())
    return [out.read_bytes() for out, _ in playing]


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("other", type=Path, help="a checkout of the state before")
    parser.add_argument("--nights", type=int, default=1400, help="how many, some ten tanks each")
    parser.add_argument(
        "--from", dest="first", type=int, default=360_000, help="the first's number"
    )
    asked = parser.parse_args()
    trees = [ground.ROOT, asked.other.resolve()]
    lines, differ = 0, list[int]()
    for number in track(range(asked.first, asked.first + asked.nights), "nights"):
        with tempfile.TemporaryDirectory(prefix="kuraban-same-") as name:
            write(number, Path(name))
            ours, theirs = told(Path(name), trees)
        lines += len(ours.splitlines())
        if ours != theirs:
            differ.append(number)
            print(f"night {number} differs: --from {number} --nights 1", file=sys.stderr)
    print(f"{asked.nights} nights, {lines} steps and messages, {len(differ)} nights differ")
    return 1 if differ else 0


if __name__ == "__main__":
    sys.exit(main())
