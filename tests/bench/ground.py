"""What the benches of the whole watch share: their brewery, the machine, the results they keep."""

from __future__ import annotations

import dataclasses
import json
import os
import platform
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import msgspec
import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from kuraban.core.units import parse_time
from kuraban.settings import Settings, load
from tests.bench import replay
from tests.broker import USERS

TOPICS = ("kura/reading/+", "kura/log/+")
ROOT = Path(__file__).resolve().parents[2]
RESULTS = Path(os.environ.get("BENCH_RESULTS", Path(__file__).resolve().parent / "results"))
NOTHING_SAVED = ("acl_file", "autosave_on_changes")
"""Left out of the broker's configuration where its speed would be measured instead of ours: with
saving at each change it rewrites its whole file for every message that waits."""


@dataclasses.dataclass(frozen=True, slots=True)
class Sent:
    """One message of the invented brewery and the moment at which it reaches the watch."""

    topic: str
    payload: bytes
    at: float


def messages(count: int) -> Iterator[Sent]:
    """20 batch starts, then `count` readings in the order of time, 60 probes once a minute."""
    days = count // (1440 * replay.PROBES) + 1
    decode = msgspec.json.Decoder(replay.Line).decode
    for number, text in enumerate(replay.lines(days)):
        if number == count + replay.TANKS:
            return
        line = decode(text)
        yield Sent(line.topic, line.payload.encode(), parse_time(line.tst))


def settings(folder: Path, port: int, phones: Sequence[str] = ()) -> Settings:
    """The brewery of `messages`, its broker on `port`, its journal in `folder`/data."""
    site = folder / "site.toml"
    if not site.exists():
        site.write_text(replay.site(), encoding="utf-8")
    found = load(site, {})
    reach = {"port": port, "user": "kuraban", "password": USERS["kuraban"], "client_id": "bench"}
    where = {
        who: dataclasses.replace(held, pages=tuple(phones)) if phones else held
        for who, held in found.addresses.items()
    }
    return dataclasses.replace(
        found, mqtt=dataclasses.replace(found.mqtt, **reach), addresses=where
    )


def session(client_id: str) -> mqtt.Client:
    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id, protocol=mqtt.MQTTv5)
    client.username_pw_set("kuraban", USERS["kuraban"])
    return client


def kept() -> Properties:
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = 86400
    properties.ReceiveMaximum = 60_000
    return properties


def register(port: int, client_id: str) -> None:
    """Subscribe as `client_id` and leave, so that the broker keeps what comes from now on."""
    ready = threading.Event()
    client = session(client_id)
    client.on_subscribe = lambda *_: ready.set()
    client.connect("127.0.0.1", port, clean_start=False, properties=kept())
    client.loop_start()
    client.subscribe([(topic, 1) for topic in TOPICS])
    assert ready.wait(10)
    client.disconnect()
    client.loop_stop()


def machine() -> dict[str, Any]:
    """What the numbers were measured on."""
    model = next(
        (
            line.partition(":")[2].strip()
            for line in Path("/proc/cpuinfo").read_text().splitlines()
            if line.startswith("model name")
        ),
        platform.machine(),
    )
    return {
        "processor": model,
        "cores": os.cpu_count(),
        "load_before": round(os.getloadavg()[0], 2),
        "python": platform.python_version(),
        "system": platform.system(),
        "on": time.strftime("%Y-%m-%d"),
    }


def keep(name: str, **numbers: Any) -> None:
    """Write the numbers of bench `name` into results/."""
    RESULTS.mkdir(exist_ok=True)
    text = json.dumps(numbers, indent=1, ensure_ascii=False)
    (RESULTS / f"{name}.json").write_text(text + "\n", encoding="utf-8")


def part(module: str, *arguments: object) -> dict[str, Any]:
    """Run one part of a bench in a process of its own; the JSON that it prints."""
    command = [sys.executable, "-m", module, *map(str, arguments)]
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, check=True)
    told: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return told


def worked(process: int) -> float:
    """Processor seconds that a process has taken so far, what it became included."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
