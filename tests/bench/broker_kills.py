"""What a killed broker forgets, with saving at each change and without, and what the saving costs.

    tests/bench/broker-kills [--kills N]

Mosquitto is ended with SIGKILL and started again, twenty times, while a board publishes fifty
readings a second at QoS 1 and sends again whatever the broker had not said it has. `taken` is what
it had said that it has; `forgotten` what of that never reached the journal. With the watch there
most is passed on at once; with the watch away it all has to be kept. Both with our configuration
and without `autosave_on_changes`. The speed is that of one client that publishes as fast as it can
while the watch is away.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import Progress
from rich.table import Table

from tests.bench import ground
from tests.broker import Mosquitto
from tests.killed_broker import KILLS, UNSAVED, killed
from tests.nights import Publisher

FLOOD = 2000
KINDS = {
    "autosave, watch there": (True, True),
    "autosave, watch away": (True, False),
    "no autosave, watch there": (False, True),
    "no autosave, watch away": (False, False),
}


def speed(folder: Path, autosave: bool) -> float:
    """Messages a second that the broker takes for an absent watch."""
    with Mosquitto(folder, without=("acl_file",) if autosave else UNSAVED) as broker:
        ground.register(broker.port, "away")
        publisher = Publisher(broker.port)
        began = time.perf_counter()
        for number in range(FLOOD):
            publisher.publish("kura/reading/t2-mid", f'{{"value": 10.46, "at": {number}}}')
        publisher.last.wait_for_publish(300)
        took = time.perf_counter() - began
        publisher.close()
    return FLOOD / took


def main() -> None:
    parser = argparse.ArgumentParser(description="What a killed broker forgets.")
    parser.add_argument("--kills", type=int, default=KILLS)
    asked = parser.parse_args()
    where, found = ground.machine(), {}
    with tempfile.TemporaryDirectory() as name, Progress(transient=True) as progress:
        folder = Path(name)
        task = progress.add_task("broker kills", total=asked.kills * len(KINDS))
        for kind, (autosave, watching) in KINDS.items():
            home = folder / kind.replace(" ", "-")
            home.mkdir()
            found[kind] = asdict(
                killed(home, autosave=autosave, watching=watching, kills=asked.kills,
                       each=lambda: progress.advance(task))
            )  # fmt: skip
        rates = {saved: speed(folder / f"speed-{saved}", saved) for saved in (True, False)}
    _report(found, rates, asked.kills, where)


def _report(
    found: dict[str, dict[str, int]], rates: dict[bool, float], kills: int, where: dict[str, Any]
) -> None:
    table = Table(box=None, padding=(0, 2, 0, 0))
    columns = ("taken", "forgotten", "answered", "answered_lost")
    for column in ("", *columns):
        table.add_column(column.replace("_", " and "), justify="right" if column else "left")
    for kind, tally in found.items():
        table.add_row(kind, *(f"{tally[column]:,}" for column in columns))
    Console().print(table)
    print(f"{kills} kills each; taken at most, with an absent watch and {FLOOD:,} messages:")
    print(f"{rates[True]:,.0f} messages a second with autosave, {rates[False]:,.0f} without")
    ground.keep(
        "broker-kills", kills=kills, machine=where, runs=found,
        taken_a_second={"autosave": round(rates[True]), "no autosave": round(rates[False])},
    )  # fmt: skip


if __name__ == "__main__":
    main()
