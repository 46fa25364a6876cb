"""`kuraban wall`: what a real watch says over a real broker, on the pins of a board."""

from __future__ import annotations

import signal
import subprocess
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from threading import Thread

import pytest
from gpiozero import Device
from gpiozero.pins.mock import MockFactory

from kuraban.cli.wall import drive
from kuraban.core.facts import Impaired
from kuraban.edges.gpio import Pins
from kuraban.edges.mqtt.oneshot import kept
from tests.broker import USERS, Mosquitto
from tests.cli.conftest import KURABAN, Type
from tests.journals import site_file
from tests.nights import Evening, messages, wait
from tests.sink import Sink

LAMP, RELAY, LASTS = 17, 22, 40.0


def test_lamp_and_relay_follow_the_watch_and_fall_with_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the broker's access list has it, the wall may hear the watch and nothing else. The relay
    is held while the watch is heard; when it stops it falls at once, and when the broker is gone
    it falls by itself."""
    monkeypatch.setattr(Device, "pin_factory", board := MockFactory())
    with Mosquitto(tmp_path) as broker, Sink() as sink:
        start = messages("slow-drift")[0].at
        tonight = Evening(broker, sink, tmp_path / "data", start)
        link = replace(tonight.settings.mqtt, user="wall", password=USERS["wall"], client_id="wall")
        pins = Pins(LAMP, None, RELAY)
        lamp, relay = board.pin(LAMP), board.pin(RELAY)
        wall = Thread(target=drive, args=(link, pins, 2.0, LASTS))
        with closing(tonight):
            wall.start()
            wait(lambda: lamp.state)
            assert not relay.state
            with tonight.watching() as watch:
                wait(lambda: relay.state and not lamp.state)
                watch.submit(Impaired("journal", True, watch.clock(), "full"))
                tonight.pass_time(watch, 120.0)
                wait(lambda: lamp.state)
                assert relay.state
                assert kept(link, "kura/watch/say/ja", 5.0)
            wait(lambda: not relay.state)
            with tonight.watching():
                wait(lambda: relay.state)
                broker.kill()
                wait(lambda: not relay.state)
                broker.start()
        wall.join(LASTS)
        assert not wall.is_alive() and relay.function == "input"


def test_the_command_ends_when_it_is_asked_to(tmp_path: Path, type_in: Type) -> None:
    """And is refused with a reason where there are no pins, or the watch would seem silent."""
    login = f'user = "wall"\npassword = "{USERS["wall"]}"'
    with Mosquitto(tmp_path) as broker:
        site = site_file(tmp_path, port=broker.port, more=login)
        command = [*KURABAN, "wall", "--lamp", "17", "--site", str(site)]
        ran = subprocess.Popen(
            command, stderr=subprocess.PIPE, text=True, env={"GPIOZERO_PIN_FACTORY": "mock"}
        )
        assert ran.stderr is not None and "listening at" in ran.stderr.readline()
        ran.send_signal(signal.SIGTERM)
        assert ran.wait(10) == 0
        refused = subprocess.run(
            command, capture_output=True, text=True, env={"GPIOZERO_PIN_FACTORY": "native"}
        )
        assert refused.returncode == 2 and "GPIO 17 cannot be used" in refused.stderr
        hasty = type_in("wall", "--relay", "22", "--after", "10s", "--site", site)
        assert hasty.exit_code == 2 and "40s or more" in hasty.stderr
