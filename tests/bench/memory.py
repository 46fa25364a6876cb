"""How much memory the watch takes: 500 probes with running batches, and what each part adds.

    tests/bench/memory [--hours H]

The watch is what `kuraban run` becomes once the site file is read. It takes `--hours` of readings
of 500 probes, one a minute each, at the moments that they carry, until its windows are as good as
full. Told is the resident set (VmRSS), shared libraries included, each variant in a process of its
own; `beside` is what the program of the pages takes.
"""

from __future__ import annotations

import argparse
import itertools
import json
import random
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import track
from rich.table import Table

from kuraban.core.units import show_time
from kuraban.settings import load
from kuraban.settings.handover import pack
from tests.bench import ground
from tests.bench.memory_child import APART, PROBES, START
from tests.broker import USERS, Mosquitto, free_port
from tests.nights import Publisher
from tests.sink import Sink

CHILD = "tests.bench.memory_child"
AIM_MB = 60
TANKS = PROBES // 2
COURSES = ground.ROOT / "fixtures" / "brewery" / "courses"
VARIANTS = {
    "the watch alone": "nothing sent, no pages, no chart drawn",
    "one message sent": "Apprise and its service are loaded with the first message",
    "pages": "[web] in the site file, the first page asked for; their own program told beside",
    "a chart drawn": "matplotlib is loaded with the first ring that goes out with a picture",
}


def site(folder: Path, port: int, pages: bool, sink: int) -> Path:
    rows = [
        f'[site]\nname = "Many tanks"\ntimezone = "Asia/Tokyo"\ncourses = ["{COURSES}"]\n'
        'data = "data"',
        f'[mqtt]\nport = {port}\nuser = "kuraban"\npassword = "{USERS["kuraban"]}"\n'
        'client_id = "memory"',
        f'[[person]]\nid = "aki"\nname = "Aki"\npages = ["json://127.0.0.1:{sink}/aki"]',
    ]
    rows += [
        f'[[duty]]\nrole = "{role}"\nperson = "aki"\norder = 1'
        for role in ("brewer", "maintenance", "crew")
    ]
    for k in range(TANKS):
        rows.append(f'[[place]]\nid = "tank-{k}"\nkind = "tank"\nname = "Tank {k}"')
        rows.append(f'[[probe]]\nid = "t{k}-upper"\nof = "tank-{k}"\nmeasures = "product"')
        rows.append(f'[[probe]]\nid = "t{k}-lower"\nof = "tank-{k}"\nmeasures = "product"')
    if pages:
        rows.append(f'[web]\nlisten = "127.0.0.1:{free_port()}"')
    path = folder / "site.toml"
    path.write_text("\n\n".join(rows) + "\n")
    return path


def messages(hours: float) -> Iterator[tuple[str, str]]:
    """Batch starts, then quiet readings; message n comes at START + n * APART."""
    from zoneinfo import ZoneInfo

    rng, count = random.Random("memory"), itertools.count()
    since = show_time(START - 10 * 86400, ZoneInfo("Asia/Tokyo"))
    for k in range(TANKS):
        next(count)
        entry = {"entry": "batch-start", "id": f"b{k}", "batch": f"No. {k}",
                 "course": "night-ordinary", "stage": "moromi", "since": since}  # fmt: skip
        yield f"kura/log/tank-{k}", json.dumps(entry)
    for _ in range(int(hours * 60)):
        for k in range(TANKS):
            for side in ("upper", "lower"):
                at = START + next(count) * APART
                value = round((14.8 + rng.gauss(0, 0.05)) * 16) / 16
                yield f"kura/reading/t{k}-{side}", f'{{"value": {value}, "at": {at:.1f}}}'


# ------------------------------------------------------------------------------------------- all


def main() -> None:
    parser = argparse.ArgumentParser(description="How much memory the watch takes.")
    parser.add_argument("--hours", type=float, default=13.5, help="length of the night")
    asked = parser.parse_args()
    where, found = ground.machine(), {}
    with tempfile.TemporaryDirectory() as name, Sink() as sink:
        for number, variant in enumerate(VARIANTS):
            found[variant] = _variant(Path(name) / str(number), variant, asked.hours, sink.port)
    _report(found, asked.hours, where)


def _variant(folder: Path, variant: str, hours: float, sink: int) -> dict[str, float]:
    folder.mkdir()
    with Mosquitto(folder, without=ground.NOTHING_SAVED) as broker:
        path = folder / "settings"
        settings = load(site(folder, broker.port, variant == "pages", sink), {}, advised=False)
        path.write_bytes(pack(settings))
        ground.register(broker.port, "memory")
        publisher, total = Publisher(broker.port), TANKS + int(hours * 60) * PROBES
        for topic, payload in track(messages(hours), variant, total, transient=True):
            publisher.publish(topic, payload)
            if publisher.sent % 2000 == 0:
                publisher.flush()
        publisher.flush()
        publisher.close()
        return ground.part(CHILD, variant, path, publisher.sent)


def _report(found: dict[str, dict[str, float]], hours: float, where: dict[str, Any]) -> None:
    table = Table(box=None, padding=(0, 2, 0, 0))
    table.add_column("variant")
    for column in ("at the start", "at the end", "adds", "at most"):
        table.add_column(column, justify="right")
    alone = found["the watch alone"]["end"]
    for variant, held in found.items():
        adds = "" if held["end"] is alone else f"{held['end'] - alone:+.1f}"
        table.add_row(
            variant,
            f"{held['start']:.1f} MB",
            f"{held['end']:.1f} MB",
            adds,
            f"{held['most']:.1f} MB",
        )
    Console().print(table)
    print(f"the pages' program: {found['pages']['beside']:.1f} MB beside the watch")
    print(f"aim: {AIM_MB} MB alone, {PROBES} probes, after {hours:g} hours")
    rounded = {
        name: {key: round(mb, 1) for key, mb in held.items()} for name, held in found.items()
    }
    ground.keep("memory", probes=PROBES, hours=hours, aim_mb=AIM_MB, machine=where, mb=rounded)


if __name__ == "__main__":
    main()
