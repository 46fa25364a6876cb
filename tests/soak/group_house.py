"""One house of the group, in a network of its own: broker, watch, phones and whoever publishes.

python -m tests.soak.group_house NAME FOLDER ENGINE HEAD SPEED

HEAD is the address of the head house's broker, "-" for the head house itself, which listens at
10.99.0.11:1884. Ends when the engine has everything, and prints its row, and what stood at its
broker in the end, as JSON.
"""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path

import msgspec

from kuraban.core.facts import Reading
from kuraban.runtime.watch import JOURNAL
from kuraban.settings import Receiver
from kuraban.store.forwarded import Forwarded
from kuraban.store.history import History
from tests.broker import USERS
from tests.nights import Heard, wait
from tests.soak.trial import HOURS, Trial, trial

HEAD_LISTENS = "listener 1884 10.99.0.11"
BRIDGE = """
connection to-the-head-house
address {head}
bridge_protocol_version mqttv50
topic kura/watch/# out 1 "" group/{name}/
remote_username kuraban
remote_password {word}
remote_clientid {name}-bridge
cleansession false
start_type automatic
restart_timeout 1 5
keepalive_interval 5
"""
SETTLES = 180.0


def main(name: str, folder: str, engine: str, head: str, speed: str) -> None:
    os.environ |= {"TEST_ENGINE": engine, "TEST_SITE": name}
    conf = (
        HEAD_LISTENS if head == "-" else BRIDGE.format(head=head, name=name, word=USERS["kuraban"])
    )
    with trial(Path(folder), float(speed), conf=conf) as night:
        print("up", flush=True)
        night.until(HOURS)
        night.publisher.settle()
        wait(lambda: _forwarded(night, engine), SETTLES)
        with Heard(night.broker.port) as heard:
            time.sleep(1.0)
            standing = {t: p for t, p in heard.last.items() if "/alarm/" in t and p}
        row = night.row(f"house {name}", 0)
        readings = night.night.readings
        told = {"row": msgspec.to_builtins(row), "standing": standing, "readings": readings}
        print(json.dumps(told), flush=True)
        sys.stdin.readline()  # until the group has been counted


def _forwarded(night: Trial, engine: str) -> bool:
    """Whether the engine has every reading that was published."""
    if night.night.lacking(night.data):
        return False
    history = History(night.data / JOURNAL)
    waits = any(isinstance(one, Reading) for _, one in history.facts_after(_seq(night, engine)))
    history.close()
    return not waits


def _seq(night: Trial, engine: str) -> int:
    mark = Forwarded(night.data / JOURNAL, Receiver(engine, "night").name)
    try:
        return mark.seq()
    finally:
        mark.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
