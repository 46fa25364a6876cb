"""A group of three houses whose links are cut and healed, every reading counted at the engine.

    tests/soak/group [--cuts N] [--speed X]

Each house has a network of its own (a network namespace) with broker, watch and phones in it; one
engine keeps the long history of all three, and the brokers of the outer two are bridged to the head
house's. The links are cut for 3 to 12 s at a time. Needs root, iproute2 and victoria-metrics.
"""

from __future__ import annotations

import argparse
import json
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import Progress
from rich.table import Table

from tests.bench import ground
from tests.engines import VictoriaMetrics
from tests.soak.trial import HOURS

HOUSES = ("head", "east", "west")
BRIDGE, NET = "kura-group", "10.99.0"


def ip(*words: str) -> None:
    subprocess.run(("ip", *words), check=True, capture_output=True)


@contextmanager
def networks() -> Iterator[None]:
    """The engine's end of the wire is 10.99.0.1, the houses are 10.99.0.11 and on."""
    try:
        ip("link", "add", BRIDGE, "type", "bridge")
        ip("addr", "add", f"{NET}.1/24", "dev", BRIDGE)
        ip("link", "set", BRIDGE, "up")
        for number, house in enumerate(HOUSES, 11):
            ip("netns", "add", f"kura-{house}")
            ip("link", "add", f"k-{house}", "type", "veth", "peer", "name", "eth0", "netns",
               f"kura-{house}")  # fmt: skip
            ip("link", "set", f"k-{house}", "master", BRIDGE)
            inside = ("-n", f"kura-{house}")
            ip(*inside, "addr", "add", f"{NET}.{number}/24", "dev", "eth0")
            ip(*inside, "link", "set", "eth0", "up")
            ip(*inside, "link", "set", "lo", "up")
            ip("link", "set", f"k-{house}", "up")
        yield
    finally:
        for house in HOUSES:
            with suppress(subprocess.CalledProcessError):
                ip("netns", "del", f"kura-{house}")
        with suppress(subprocess.CalledProcessError):
            ip("link", "del", BRIDGE)


def start(house: str, folder: Path, engine: str, speed: float) -> subprocess.Popen[str]:
    head = "-" if house == HOUSES[0] else f"{NET}.11:1884"
    words = (house, str(folder / house), engine, head, str(speed))
    command = ("ip", "netns", "exec", f"kura-{house}", sys.executable, "-m",
               "tests.soak.group_house", *words)  # fmt: skip
    return subprocess.Popen(
        command, cwd=ground.ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )


def cut(chance: random.Random, cuts: int, speed: float, progress: Progress) -> None:
    """Cut the houses' links by turns, spread over the night."""
    task = progress.add_task("links cut and healed", total=cuts * len(HOUSES))
    night = HOURS * 3600 / speed
    for number in range(cuts * len(HOUSES)):
        wire = f"k-{HOUSES[number % len(HOUSES)]}"
        begun = time.monotonic()
        ip("link", "set", wire, "down")
        time.sleep(chance.uniform(3.0, min(12.0, 0.8 * night / cuts)))
        ip("link", "set", wire, "up")
        progress.advance(task)
        time.sleep(max(night / (cuts * len(HOUSES)) - (time.monotonic() - begun), 0.2))


def bridged(port_conf: Path) -> dict[str, str]:
    """What stands at the head house's broker of the other two."""
    port = next(
        line.split()[1] for line in port_conf.read_text().splitlines() if "127.0.0.1" in line
    )
    code = (
        "import json, sys, time; from tests.nights import Heard\n"
        "heard = Heard(int(sys.argv[1])); heard._client.on_connect = None\n"
        "time.sleep(0.5); heard._client.subscribe('group/#', 1); time.sleep(2.0)\n"
        "print(json.dumps({t: p for t, p in heard.last.items() if t.startswith('group/')}))"
    )
    command = ("ip", "netns", "exec", "kura-head", sys.executable, "-c", code, port)
    done = subprocess.run(command, cwd=ground.ROOT, capture_output=True, text=True, check=True)
    found: dict[str, str] = json.loads(done.stdout.splitlines()[-1])
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description="Three houses, one engine, links cut and healed.")
    parser.add_argument("--cuts", type=int, default=8, help="of each link")
    parser.add_argument("--speed", type=float, default=120.0)
    asked = parser.parse_args()
    where, chance = ground.machine(), random.Random(11)
    with tempfile.TemporaryDirectory() as name, networks():
        folder = Path(name)
        (folder / "engine").mkdir()
        with VictoriaMetrics(folder / "engine", f"{NET}.1") as engine, Progress() as progress:
            houses = {one: start(one, folder, engine.url, asked.speed) for one in HOUSES}
            for house in houses.values():
                assert house.stdout is not None and house.stdout.readline() == "up\n"
            cut(chance, asked.cuts, asked.speed, progress)
            told = {one: json.loads(_line(house)) for one, house in houses.items()}
            stood = bridged(folder / "head" / "mosquitto" / "kuraban.conf")
            rows = [_count(one, told[one], engine, stood) for one in HOUSES]
            for house in houses.values():
                house.communicate("\n", timeout=60)
    _print(rows)
    ground.keep("group", machine=where, cuts_of_each_link=asked.cuts, houses=rows)


def _line(house: subprocess.Popen[str]) -> str:
    assert house.stdout is not None
    return house.stdout.readline()


def _count(
    house: str, told: dict[str, Any], engine: VictoriaMetrics, stood: dict[str, str]
) -> dict[str, Any]:
    """Whether the engine has every reading of a house, once and with its value."""
    published = {
        (probe, round(at * 1000), value)
        for probe, readings in told["readings"].items()
        for at, value in readings
    }
    there = [
        (labels["probe"], at, value)
        for labels, values, times in engine.series("reading_value")
        if labels["site"] == house
        for at, value in zip(times, values, strict=True)
    ]
    at_head = {t: p for t, p in stood.items() if t.startswith(f"group/{house}/") and p}
    ours = {f"group/{house}/{topic}" for topic in told["standing"]}
    return {
        "house": house,
        "published": len(published),
        "in its journal": told["row"]["readings_kept"],
        "at the engine": len(set(there) & published),
        "twice or strange at the engine": len(there) - len(set(there) & published),
        "pages due": told["row"]["pages_due"],
        "pages made": told["row"]["pages_made"],
        "doubled": told["row"]["doubled"],
        "alarms standing": len(told["standing"]),
        "of them at the head house": len(ours & set(at_head)) if house != HOUSES[0] else None,
    }


def _print(rows: list[dict[str, Any]]) -> None:
    table = Table(box=None, padding=(0, 2, 0, 0))
    for column in rows[0]:
        table.add_column(column, justify="left" if column == "house" else "right")
    for row in rows:
        table.add_row(*("" if value is None else f"{value}" for value in row.values()))
    Console(width=200).print(table)


if __name__ == "__main__":
    main()
