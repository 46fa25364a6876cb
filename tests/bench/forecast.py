"""How often the 90 % interval of the forecast holds the true exit, on nights kept back for it."""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from rich.progress import track

from fixtures.invent import random_night
from tests.core.detectors.test_trending import DRIFTING, forecasts

FIRST = 500
"""Seeds from here to 530 are kept for the forecast; no rule was tuned on them."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--nights", type=int, default=16, help="seeds; each in two cellars")
    asked = parser.parse_args()
    held = known = 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in track(range(FIRST, FIRST + asked.nights), "forecasting", transient=True):
            for month in (1, 4):
                night = random_night(seed, month, DRIFTING)
                for forecast in forecasts(night, Path(folder) / f"{seed}-{month}"):
                    known += forecast.held is not None
                    held += bool(forecast.held)
    print(f"{held} of {known} forecasts held the true exit: {100 * held / known:.0f} %")


if __name__ == "__main__":
    main()
