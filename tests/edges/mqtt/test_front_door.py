from __future__ import annotations

import json
import socket
import threading
import time
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import paho.mqtt.subscribe as listening
import pytest

from kuraban.edges.mqtt import front_door as mqtt_in
from kuraban.edges.mqtt.fair_queue import Arrived
from kuraban.edges.mqtt.front_door import FrontDoor
from kuraban.errors import ConfigurationError
from tests.broker import USERS, Embedded, Mosquitto, free_port
from tests.certificates import authority, certificate
from tests.edges.conftest import Open, Place, publish

NUMBERS = [str(number) for number in range(200)]


@pytest.mark.parametrize(
    ("lived", "waited"),
    [
        ([0.0] * 7, [2, 4, 8, 16, 32, 60, 60]),
        ([9.0] * 4, [2, 2, 2, 2]),
        ([0.0, 0.0, 7.0, 17.0, 9.0], [2, 4, 8, 16, 32]),
        ([0.0, 0.0, 0.0, 0.0, 31.0, 3.0], [2, 4, 8, 16, 2, 4]),
    ],
    ids=["refused", "a network that comes and goes", "hardly there", "once steady"],
)
def test_the_pause_before_the_next_try(lived: list[float], waited: list[float]) -> None:
    """Doubled while tries fail; a connection that far outlived its pause was none that failed."""
    last, found = 0.0, []
    for one in lived:
        last = mqtt_in.delay_after(last, one)
        found.append(last)
    assert found == waited


def payloads(arrived: list[Arrived]) -> list[str]:
    return [one.payload.decode() for one in arrived]


def status(port: int) -> str:
    """What the broker holds as the watch's status, as anyone of the crew would see it."""
    heard: Any = listening.simple(  # type: ignore[no-untyped-call]
        "kura/watch/status",
        hostname="127.0.0.1",
        port=port,
        auth={"username": "crew", "password": USERS["crew"]},
        protocol=mqtt.MQTTv5,
    )
    return str(json.loads(heard.payload)["status"])


# ------------------------------------------------------- the same from Mosquitto and embedded


def test_every_reading_comes_in_order_and_answered_ones_not_again(
    broker: Mosquitto | Embedded, open_door: Open
) -> None:
    """Two hundred readings arrive in the order sent; once answered the broker forgets them."""
    house = open_door(Place(broker.port))
    publish(broker.port, *NUMBERS)
    arrived: list[Arrived] = []
    for _ in range(8):
        turn = house.take(25)
        house.door.answer(turn)
        arrived += turn
    assert payloads(arrived) == NUMBERS
    assert {one.topic for one in arrived} == {"kura/reading/t3-mid"}
    time.sleep(0.3)
    house.come_again()
    assert house.take(1, within=0.7) == []


def test_unanswered_readings_come_again(broker: Mosquitto | Embedded, open_door: Open) -> None:
    """Readings that were not answered are given again at the next connect, in order."""
    house = open_door(Place(broker.port))
    publish(broker.port, *NUMBERS[:50])
    arrived = house.take(50)
    house.door.answer(arrived[:20])
    time.sleep(0.3)
    house.come_again()
    assert payloads(house.take(31, within=1.5)) == NUMBERS[20:50]


def test_readings_wait_at_the_broker_while_the_watch_is_away(
    broker: Mosquitto | Embedded, open_door: Open
) -> None:
    """A watch that was stopped finds at its next start what was sent meanwhile."""
    house = open_door(Place(broker.port))
    house.door.stop()
    publish(broker.port, *NUMBERS[:30])
    later = open_door(Place(broker.port))
    assert payloads(later.take(30)) == NUMBERS[:30]


def test_the_broker_tells_how_the_watch_is(broker: Mosquitto | Embedded, open_door: Open) -> None:
    """The retained status says watching while it watches and stopped after it was stopped."""
    house = open_door(Place(broker.port))
    assert status(broker.port) == "watching"
    house.door.stop()
    assert status(broker.port) == "stopped"


def test_the_watch_finds_its_broker_again(broker: Mosquitto | Embedded, open_door: Open) -> None:
    """A broker that went away and came back is connected to and listened to again."""
    house = open_door(Place(broker.port))
    broker.stop()
    house.await_event("lost")
    broker.start()
    house.await_link()
    publish(broker.port, "10.46")
    assert payloads(house.take(1)) == ["10.46"]


# ------------------------------------------------------------------- Mosquitto as we deliver it


def test_an_old_answer_confirms_no_other_message(tmp_path: Path, open_door: Open) -> None:
    """The broker forgot everything and numbers its messages from 1 again: the answer to the old
    number 1 must not confirm the new one."""
    forgetful = "autosave_interval 3600"
    without = ("autosave_on_changes", "autosave_interval")
    with Mosquitto(tmp_path, forgetful, without=without) as broker:
        house = open_door(Place(broker.port))
        publish(broker.port, "old")
        old = house.take(1)
        broker.kill()
        house.await_link(connected=False)
        broker.start()
        house.await_link()
        publish(broker.port, "new")
        new = house.take(1)
        assert (payloads(new), new[0].mid) == (["new"], old[0].mid)
        house.door.answer(old)
        time.sleep(0.2)
        house.come_again()
        assert payloads(house.take(1)) == ["new"]


def test_a_killed_broker_remembers_what_it_took(tmp_path: Path, open_door: Open) -> None:
    """With our configuration, what the broker took for an absent watch outlives SIGKILL."""
    with Mosquitto(tmp_path) as broker:
        open_door(Place(broker.port)).door.stop()
        publish(broker.port, *NUMBERS[:30])
        time.sleep(0.2)
        broker.kill()
        broker.start()
        assert payloads(open_door(Place(broker.port)).take(30)) == NUMBERS[:30]


def test_a_watch_that_is_cut_off_stands_as_gone(mosquitto: Mosquitto, open_door: Open) -> None:
    """A watch whose connection is cut without a goodbye stands as gone."""
    house = open_door(Place(mosquitto.port, keepalive=5))
    sock = house.door._client.socket()
    assert isinstance(sock, socket.socket)
    house.door._wanted = house.door._passing
    house.door._passing.connect_async("127.0.0.1", free_port())
    sock.shutdown(socket.SHUT_RDWR)
    house.await_link(connected=False)
    assert status(mosquitto.port) == "gone"


def test_a_full_queue_loses_nothing(mosquitto: Mosquitto, open_door: Open) -> None:
    """With room for ten and nobody taking, the rest is left with the broker and comes later."""
    house = open_door(Place(mosquitto.port, keepalive=2), capacity=10)
    publish(mosquitto.port, *NUMBERS[:60])
    house.await_event("full")
    seen: list[str] = []
    deadline = time.monotonic() + 15
    while set(seen) != set(NUMBERS[:60]) and time.monotonic() < deadline:
        arrived = house.door.take(5, 0.2)
        seen += payloads(arrived)
        house.door.answer(arrived)
    assert list(dict.fromkeys(seen)) == NUMBERS[:60]
    assert house.door.alive


def test_a_failing_journal_does_not_blind_the_watch(mosquitto: Mosquitto, open_door: Open) -> None:
    """Through the passing session the watch sees and owes nothing; healed, it gets everything."""
    house = open_door(Place(mosquitto.port))
    link = house.door.link
    house.door.pause_kept_session()
    house.await_link_after(link)
    assert not house.door.kept
    publish(mosquitto.port, *NUMBERS[:20])
    seen = house.take(20)
    assert payloads(seen) == NUMBERS[:20]
    house.door.answer(seen)
    house.door.resume_kept_session()
    assert payloads(house.take(20)) == NUMBERS[:20]


def test_lamps_are_told_anew_after_the_broker_was_away(
    mosquitto: Mosquitto, open_door: Open
) -> None:
    """The last retained word holds, also one that was said while the broker was away."""
    house = open_door(Place(mosquitto.port))
    house.door.publish("kura/watch/alarm/tank-3/warm", "{}", retain=True)
    mosquitto.stop()
    house.await_link(connected=False)
    house.door.publish("kura/watch/alarm/tank-3/warm", b'{"step":"raised"}', retain=True)
    mosquitto.start()
    house.await_link()
    auth = {"username": "crew", "password": USERS["crew"]}
    heard: Any = listening.simple(  # type: ignore[no-untyped-call]
        "kura/watch/alarm/#", port=mosquitto.port, auth=auth, protocol=mqtt.MQTTv5
    )
    assert heard.payload == b'{"step":"raised"}'


def test_a_probe_writes_its_own_topic_only(mosquitto: Mosquitto, open_door: Open) -> None:
    """What a probe publishes for another one is not let through."""
    house = open_door(Place(mosquitto.port))
    publish(mosquitto.port, "99", topic="kura/reading/t4-mid")
    publish(mosquitto.port, "99", topic="kura/watch/status")
    publish(mosquitto.port, "10.46")
    arrived = house.take(2, within=1.0)
    assert [(one.topic, one.payload) for one in arrived] == [("kura/reading/t3-mid", b"10.46")]


def test_a_wrong_password_is_told_and_tried_again(mosquitto: Mosquitto, open_door: Open) -> None:
    """The line names the user and what to compare; the password stands nowhere."""
    house = open_door(Place(mosquitto.port), password="guessed", up=False)
    event = house.await_event("refused", "kuraban")
    assert "password" in event.reason
    assert "guessed" not in str(house.told)
    link = house.door.link
    deadline = time.monotonic() + 5
    while house.door.link == link and time.monotonic() < deadline:
        time.sleep(0.05)
    assert house.door.link > link
    assert house.door.alive


def test_an_access_list_that_lets_nothing_through_is_noticed(
    mosquitto: Mosquitto, open_door: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Mosquitto grants the subscription and stays silent; the missing echo gives it away."""
    monkeypatch.setattr(mqtt_in, "ECHO", 0.5)
    mosquitto.stop()
    (mosquitto.home / "acl").write_text("user kuraban\ntopic write kura/watch/#\n")
    mosquitto.start()
    house = open_door(Place(mosquitto.port))
    assert "user kuraban" in house.await_event("deaf", "access list").reason


def test_a_broker_that_is_slow_to_echo_is_not_taken_for_deaf_for_long(
    mosquitto: Mosquitto, open_door: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever comes through under our root shows that we are let hear, and takes the word back."""
    monkeypatch.setattr(mqtt_in, "ECHO", 0.5)
    mosquitto.stop()
    acl = mosquitto.home / "acl"
    only_tank_3 = "user kuraban\ntopic write kura/watch/#\ntopic read kura/reading/t3-mid\n"
    acl.write_text(f"{only_tank_3}pattern write kura/reading/%u\n")
    mosquitto.start()
    house = open_door(Place(mosquitto.port))
    house.await_event("deaf", "access list")
    publish(mosquitto.port, "10.46")
    assert payloads(house.take(1)) == ["10.46"]
    house.await_event("connected", "after all")


def test_an_access_list_that_forbids_the_status_is_told(
    mosquitto: Mosquitto, open_door: Open
) -> None:
    """A user who may not write the watch's own topics is named."""
    house = open_door(Place(mosquitto.port), user="t3-mid", password=USERS["t3-mid"], up=False)
    assert "user t3-mid" in house.await_event("deaf", "publishing").reason


def test_a_second_watch_with_the_same_name_is_told(mosquitto: Mosquitto, open_door: Open) -> None:
    """Two watches with one client id throw each other out: both say so."""
    first = open_door(Place(mosquitto.port))
    open_door(Place(mosquitto.port))
    assert "second watch" in first.await_event("lost", "night").reason


def test_a_call_just_before_the_watch_waits_is_not_forgotten() -> None:
    """An entry of a page that comes between two turns is judged at once, not after the wait."""
    door = FrontDoor(Place(free_port()), (), time.time, on_event=lambda event: None)
    door.rouse()
    began = time.monotonic()
    assert door.take(1, 20.0) == [] and time.monotonic() - began < 10
    began = time.monotonic()
    assert door.take(1, 0.05) == [] and time.monotonic() - began >= 0.05, "it was heard once"


def test_nobody_listens(open_door: Open) -> None:
    """The line names the place; the watch goes on trying."""
    port = free_port()
    house = open_door(Place(port), up=False)
    assert f"127.0.0.1:{port}" in house.await_event("refused", "nobody listens").reason
    assert house.door.alive


def test_a_broker_that_comes_later_is_found(tmp_path: Path, open_door: Open) -> None:
    """A watch that starts before its broker connects as soon as that one is there."""
    broker = Mosquitto(tmp_path)
    house = open_door(Place(broker.port), up=False)
    house.await_event("refused", "nobody listens")
    with broker:
        house.await_link()


def test_an_unknown_name_is_told(open_door: Open) -> None:
    """A host that DNS does not know, and one that it cannot know, end no thread."""
    house = open_door(Place(1883), host="kura.invalid", up=False)
    house.await_event("refused", "kura.invalid")
    other = open_door(Place(1883), host="kura" + "x" * 70 + ".invalid", up=False)
    other.await_event("refused", "not found")
    assert house.door.alive
    assert other.door.alive


def test_a_callback_that_fails_is_an_event(mosquitto: Mosquitto, open_door: Open) -> None:
    """Whatever a callback meets, the network thread lives and says what it was."""
    house = open_door(Place(mosquitto.port))
    house.door._on_subscribe = None  # type: ignore[assignment,method-assign]
    house.door._clock = lambda: 1 / 0
    publish(mosquitto.port, "10.46")
    time.sleep(0.3)
    house.door._clock = time.time
    house.await_link()
    assert house.door.alive
    assert payloads(house.take(1)) == ["10.46"]


# ------------------------------------------------------------------------- a broker by script


class Scripted:
    """Takes connections and answers each with the bytes of its script, one packet for one."""

    def __init__(self, *script: bytes) -> None:
        self._script = script
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        while True:
            try:
                guest, _ = self._server.accept()
            except OSError:
                return
            with guest:
                for answer in self._script:
                    guest.recv(4096)
                    guest.sendall(answer)
                guest.settimeout(2.0)
                try:
                    while guest.recv(4096):
                        pass
                except OSError:
                    continue

    def close(self) -> None:
        self._server.close()


def connack(code: int) -> bytes:
    return bytes([0x20, 3, 0, code, 0])


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (connack(0x86), "password for user kuraban"),
        (connack(0x87), "kuraban is not authorised"),
        (connack(0x88), "not available"),
        (connack(0x8A), "banned"),
        (connack(0x84), "does not speak MQTT 5"),
        (bytes([0x20, 2, 0, 1]), "does not speak MQTT 5"),
        (b"HTTP/1.1 400 Bad Request\r\n\r\n", "MQTT 5 port"),
    ],
)
def test_each_refusal_says_what_would_be_right(answer: bytes, words: str, open_door: Open) -> None:
    """Every reason for which a broker shuts its door becomes a line of its own."""
    broker = Scripted(answer)
    house = open_door(Place(broker.port), up=False)
    house.await_event("refused", words)
    assert house.door.alive
    broker.close()


def test_a_refused_subscription_names_its_topic(open_door: Open) -> None:
    """SUBACK with a reason from 0x80 on tells which topic is not given."""
    suback = bytes([0x90, 5, 0, 1, 0, 0x87, 1])
    broker = Scripted(connack(0), suback)
    house = open_door(Place(broker.port), up=False)
    event = house.await_event("deaf", "kura/reading/+")
    assert "refused" in event.reason
    broker.close()


# ----------------------------------------------------------------------------------------- TLS


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An authority, a stranger to it, and the broker's and watch's certificates."""
    home = tmp_path_factory.mktemp("certificates")
    authority(home, "ca")
    authority(home, "stranger")
    certificate(home, "good", "IP:127.0.0.1", "30")
    certificate(home, "old", "IP:127.0.0.1", "-1")
    certificate(home, "elsewhere", "DNS:kura.example", "30")
    certificate(home, "watch", "DNS:watch", "30")
    certificate(home, "watch-old", "DNS:watch", "-1")
    return home


def over_tls(home: Path, tmp_path: Path, name: str, extra: str = "") -> Mosquitto:
    lines = [f"cafile {home}/ca.crt", f"certfile {home}/{name}.crt", f"keyfile {home}/{name}.key"]
    return Mosquitto(tmp_path, "\n".join([*lines, extra]))


def test_a_broker_with_a_good_certificate_is_trusted(
    certificates: Path, tmp_path: Path, open_door: Open
) -> None:
    """Readings come through TLS, with a certificate of our own where the broker wants one."""
    want = "require_certificate true"
    with over_tls(certificates, tmp_path, "good", want) as broker:
        place = Place(
            broker.port,
            ca_file=certificates / "ca.crt",
            cert_file=certificates / "watch.crt",
            key_file=certificates / "watch.key",
        )
        house = open_door(place)
        house.door.publish("kura/log/tank-3", '{"entry": "stir"}')
        assert payloads(house.take(1)) == ['{"entry": "stir"}']


@pytest.mark.parametrize(
    ("name", "authority", "words"),
    [
        ("old", "ca", "expired"),
        ("elsewhere", "ca", "made out to another"),
        ("good", "stranger", "unknown authority"),
    ],
)
def test_a_bad_certificate_is_told(
    name: str, authority: str, words: str, certificates: Path, tmp_path: Path, open_door: Open
) -> None:
    """Expired, made out to another name, or from an unknown authority: each is told as that."""
    with over_tls(certificates, tmp_path, name) as broker:
        place = Place(broker.port, ca_file=certificates / f"{authority}.crt")
        house = open_door(place, up=False)
        house.await_event("refused", words)
        assert house.door.alive


def test_our_own_expired_certificate_is_told(
    certificates: Path, tmp_path: Path, open_door: Open
) -> None:
    """The broker's alert about our certificate reaches the operator."""
    with over_tls(certificates, tmp_path, "good", "require_certificate true") as broker:
        place = Place(broker.port, ca_file=certificates / "ca.crt")
        none = open_door(place, up=False)
        assert "cert_file" in none.await_event("lost", "certificate").reason
        old = open_door(
            place,
            cert_file=certificates / "watch-old.crt",
            key_file=certificates / "watch-old.key",
            up=False,
        )
        assert "expired" in old.await_event("lost", "certificate").reason


def test_an_unreadable_certificate_is_a_fault_of_the_settings(tmp_path: Path) -> None:
    """A file that is not there, or is no certificate, is named before anything starts."""
    with pytest.raises(ConfigurationError, match=r"mqtt\.ca_file.*absent\.crt"):
        FrontDoor(
            Place(1883, ca_file=tmp_path / "absent.crt"), (), time.time, on_event=lambda _: None
        )
