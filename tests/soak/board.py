"""A board's program in MicroPython before a real watch: every reading, and what became of it.

    tests/soak/board [--times N]

One probe that counts, ten readings a second, a flash of its own (littlefs). Each fault `times`
over; `read` is what the probe itself wrote down, `lost` and `twice` are told by its numbers in the
journal.
"""

from __future__ import annotations

import argparse
import json
import random
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from kuraban.runtime.watch import JOURNAL
from kuraban.store.history import History
from tests.bench import ground
from tests.broker import Mosquitto
from tests.deploy.board.bench import Board, Network, time_server, until, with_board
from tests.nights import await_hearing, spawn
from tests.sink import Sink

MOST = 1500
"""Readings of a fault: as sixteenths of a degree they stay below 110 °C."""


def journaled(data: Path) -> list[int]:
    history = History(data / JOURNAL)
    found = [round(value * 16) for _, value in history.readings("t3-mid", 0, 1e12)]
    history.close()
    return found


def trial(
    fault: Callable[[Board, Network, int], None], times: int, **env: object
) -> dict[str, int]:
    with tempfile.TemporaryDirectory() as name:
        folder, data = Path(name), Path(name) / "data"
        with with_board(Mosquitto(folder)) as broker, Sink() as sink, time_server() as ntp:
            watch = spawn(broker, sink, data, time.time(), 1.0)
            await_hearing(data)
            network = Network(broker.port)
            board = Board(folder / "board", network.port, NTP=f"127.0.0.1:{ntp}", EVERY=0.1)
            board.start(**env)
            fault(board, network, times)
            network.heal()
            if not board.alive:
                board.start(**env)
            board.await_more(5)
            until(lambda: (journaled(data) or [0])[-1] >= board.measured - 1, 120)
            board.kill()
            watch.terminate()
            watch.wait(30)
            network.close()
            kept = Counter(journaled(data))
            assert "watchdog" not in board.said and max(kept) < MOST
    lost = sum(1 for number in range(1, max(kept) + 1) if number not in kept)
    return {"read": max(kept), "in the journal": sum(kept.values()), "lost": lost,
            "twice": sum(kept.values()) - len(kept)}  # fmt: skip


def nothing(board: Board, network: Network, times: int) -> None:
    board.await_more(100)


def cut(board: Board, network: Network, times: int) -> None:
    for _ in range(times):
        board.await_more(20)
        network.cut()
        board.await_more(40)
        network.heal()


def power(board: Board, network: Network, times: int) -> None:
    """In the middle of a block, somewhere."""
    chance = random.Random(times)
    network.cut()
    board.kill()
    for _ in range(times):
        board.start(CUT=chance.randint(8, 60))
        board.ends()


def killed(board: Board, network: Network, times: int) -> None:
    chance = random.Random(times)
    for number in range(times):
        board.await_more(chance.randint(1, 15))
        board.kill()
        (network.cut, network.heal)[number % 2]()
        board.start()


def full(board: Board, network: Network, times: int) -> None:
    """More than fits: the oldest are dropped, and are all that is lost."""
    network.cut()
    board.await_more(150)


def main() -> None:
    parser = argparse.ArgumentParser(description="A board, and every fault.")
    parser.add_argument("--times", type=int, default=10)
    times = parser.parse_args().times
    faults = {
        "none": trial(nothing, times),
        f"network cut and healed, {times} times": trial(cut, times),
        f"power cut in a block, {times} times": trial(power, times),
        f"killed, {times} times, the network up or cut": trial(killed, times),
        "flash of 48 KB full": trial(full, times, BLOCKS=12, LINES=5),
    }
    ground.keep("board", **ground.machine(), faults=faults)
    print(json.dumps(faults, indent=1))


if __name__ == "__main__":
    main()
