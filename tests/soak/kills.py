"""Nights in which the real watch is killed thirty times each (SIGKILL), until it was a thousand.

    tests/soak/kills [--nights N] [--from N]

Each is the night of `tests/test_kills.py` with other moments. What it holds there it must hold in
every one: no reading lost or kept twice, every drift paged, nothing told twice unmarked, a journal
whose chain holds and that replays to what was told.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
import traceback
from pathlib import Path

from tests.bench import ground
from tests.test_kills import DRIFTS, KILLS, night_of_kills


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--nights", type=int, default=34, help="how many")
    parser.add_argument("--from", dest="first", type=int, default=1000, help="the first one's seed")
    asked = parser.parse_args()
    began, readings, failed = time.monotonic(), 0, list[int]()
    for seed in range(asked.first, asked.first + asked.nights):
        with tempfile.TemporaryDirectory(prefix="kuraban-kills-") as folder:
            try:
                readings += night_of_kills(Path(folder), seed)
            except Exception:
                failed.append(seed)
                traceback.print_exc()
        nights = seed - asked.first + 1
        spent = time.monotonic() - began
        print(f"{nights * KILLS} kills, {readings} readings, {len(failed)} of {nights} nights "
              f"failed, {spent / 60:.0f} min", flush=True)  # fmt: skip
    ground.keep(
        "kills", kills=asked.nights * KILLS, nights=asked.nights, readings=readings,
        pages_due=asked.nights * len(DRIFTS), failed=failed,
    )  # fmt: skip
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
