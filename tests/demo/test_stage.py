"""What the demo plays upon: clock, phones, broker and probes, each as it really is."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from kuraban.demo.stage import Feeder, Pace, Phones, embedded_broker, set_up_site
from kuraban.edges.mqtt.front_door import Arrived, FrontDoor
from kuraban.edges.phones.courier import ByApprise
from kuraban.errors import BrokerError
from kuraban.recording import Recorded
from kuraban.settings import Settings, load
from kuraban.settings.model import Mqtt

BREWERY = Path(__file__).parents[2] / "fixtures" / "brewery"
START = 1770116400.0


@pytest.fixture
def phones() -> Iterator[Phones]:
    opened = Phones()
    yield opened
    opened.close()


@pytest.fixture
def port(tmp_path: Path) -> Iterator[int]:
    """The port of an embedded broker that is up."""
    broker, port = embedded_broker(tmp_path)
    broker.start()
    yield port
    broker.stop()


@pytest.fixture
def settings(tmp_path: Path, port: int) -> Settings:
    return load(set_up_site(BREWERY, tmp_path, port, 9, "en"), {})


Listen = Callable[..., FrontDoor]


@pytest.fixture
def listen(port: int) -> Iterator[Listen]:
    """A subscriber of one topic filter; as `kura` it says what a watch says when it is there."""
    doors: list[FrontDoor] = []

    def opened(topics: str, root: str = "listener") -> FrontDoor:
        link = Mqtt(port=port, root=root, client_id=f"listener-{len(doors)}")
        doors.append(FrontDoor(link, (topics,), time.time, on_event=lambda event: None))
        doors[-1].start()
        return doors[-1]

    yield opened
    for door in doors:
        door.stop()


def test_a_change_of_pace_goes_on_from_the_moment_shown() -> None:
    pace = Pace(START)
    for speed in (600.0, 60.0, 1.0):
        before = pace()
        pace.change(speed)
        assert pace.speed == speed
        assert pace() - before < speed * 1.0
        assert pace() >= before


def test_a_moment_is_carried_to_real_time_and_back() -> None:
    pace = Pace(START)
    pace.change(600.0)
    assert pace.of(pace.real(START + 3600.0)) == pytest.approx(START + 3600.0, abs=0.01)


def test_the_phones_take_what_apprise_posts(phones: Phones) -> None:
    sender = ByApprise(f"json://127.0.0.1:{phones.port}/aki")
    assert sender.send("Tank 5 warm", "First: display.", True) == ""
    rung = phones.arrived.get(timeout=5)
    assert (rung.person, rung.title, rung.body) == ("aki", "Tank 5 warm", "First: display.")


def test_the_copied_site_has_its_own_broker_and_phones(tmp_path: Path) -> None:
    """Nothing of the checkout is written to, and nobody else's broker is talked to."""
    settings = load(set_up_site(BREWERY, tmp_path, 12345, 23456, "ja"), {})
    assert settings.mqtt.port == 12345
    assert settings.addresses["aki"].pages == ("json://127.0.0.1:23456/aki",)
    assert settings.data.is_relative_to(tmp_path)
    assert {person.language for person in settings.house.people} == {"ja"}


def feeder(settings: Settings, pace: Pace, night: list[Recorded]) -> Feeder:
    return Feeder(settings.mqtt, settings.house, pace, iter(night))


def test_probes_wait_for_the_watch_and_say_so_where_it_does_not_come(
    settings: Settings, listen: Listen
) -> None:
    alone = feeder(settings, Pace(START), [])
    with pytest.raises(BrokerError, match="did not meet within 0 s"):
        alone.await_watch(within=0.3)
    alone.stop()
    listen("kura/reading/+", root="kura")
    meeting = feeder(settings, Pace(START), [])
    meeting.await_watch(within=10)
    meeting.stop()


def test_the_night_is_published_by_its_own_clock(settings: Settings, listen: Listen) -> None:
    """In its order and its time; afterwards every probe says its last value again."""
    door = listen("kura/reading/+")
    meter = listen("meters/+")
    listen("kura/nothing", root="kura")
    night = [
        Recorded(START + 60.0, "kura/reading/t5-mid", b"10.44", False),
        Recorded(START + 120.0, "kura/reading/t5-valve", b"true", False),
        Recorded(START + 180.0, "meters/chiller-1", b'{"active":{"watts":41.0}}', False),
    ]
    pace = Pace(START)
    played = feeder(settings, pace, night)
    played.await_watch()
    pace.change(600.0)
    began = pace()
    played.start()
    assert played.played.wait(5)
    assert pace() - began >= 180.0 - 1.0
    first, metered = take(door, 4), take(meter, 2)
    played.stop()
    assert [one.payload for one in first[:2]] == [b"10.44", b"true"]
    again = {one.topic: one.payload for one in first[2:]}
    assert abs(float(again["kura/reading/t5-mid"]) - 10.44) <= 0.0626
    assert again["kura/reading/t5-valve"] == b"1"
    assert metered[1].payload.startswith(b'{"active": {"watts": 4')


def take(door: FrontDoor, count: int, within: float = 10.0) -> list[Arrived]:
    got: list[Arrived] = []
    deadline = time.monotonic() + within
    while len(got) < count and time.monotonic() < deadline:
        got += door.take(count - len(got), 0.2)
    assert len(got) == count
    return got


def test_what_anybody_logs_is_heard(settings: Settings, listen: Listen) -> None:
    """The people of the recording and whoever sits at the keyboard meet at the broker."""
    listen("kura/nothing", root="kura")
    stir = b'{"entry":"stir","by":"mio"}'
    played = feeder(settings, Pace(START), [Recorded(START, "kura/log/tank-1", stir, False)])
    played.await_watch()
    played.start()
    deadline, heard = time.monotonic() + 5, []
    while not heard and time.monotonic() < deadline:
        heard = [(one.topic, one.payload) for one in played.heard()]
    played.stop()
    assert heard == [("kura/log/tank-1", stir)]
