"""The whole watch against a real Mosquitto and a real phone service on loopback."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.core.effects import Message, Step
from kuraban.recording import Recorded
from kuraban.runtime.watch import JOURNAL
from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests.broker import Mosquitto
from tests.nights import (
    Evening,
    Heard,
    Publisher,
    dated,
    lacking,
    messages,
    replayed,
    spawn,
    wait,
)
from tests.sink import Sink
from tests.stopwatch import Stopwatch

DRIFT_LEAVES = 7.0 * 3600
"""Seconds into `slow-drift` at which tank 2 is out of its tolerance and its delay runs."""

Told = list[Step | Message]


def raised(told: Told) -> set[tuple[str, str, str]]:
    """What rang whom: each alarm that was raised, and each person that an alarm's page went to."""
    found = set()
    for event in told:
        if isinstance(event, Step):
            found.add((event.alarm, event.step, ""))
        elif event.step == "page":
            found |= {(alarm, "page", event.person) for alarm in event.alarms}
    return found


def first(told: Told, alarm: str, step: str = "raised") -> float:
    return min(
        event.at
        for event in told
        if isinstance(event, Step) and (event.alarm, event.step) == (alarm, step)
    )


def exactly(told: Told) -> list[tuple[float, str, str]]:
    return [
        (event.at, event.step, event.alarm if isinstance(event, Step) else event.person)
        for event in told
    ]


@pytest.mark.parametrize(
    ("night", "alarm"),
    [("slow-drift", "tank-2/warm"), ("chiller-standing-power-gone", "chiller-1/stopped")],
)
def test_the_watch_tells_what_a_replay_tells(
    evening: Callable[..., Evening], sink: Sink, night: str, alarm: str
) -> None:
    """Through broker, journal and courier the night rings for the same things and people.

    Payloads without a time of their own are dated when they come in, hence the few minutes.
    """
    lines = messages(night)
    tonight = evening(lines[0].at)
    with tonight.watching() as watch:
        tonight.play(watch, lines)
        tonight.catch_up(watch)
        pages = [event for event in tonight.told if isinstance(event, Message)]
        sink.await_count(len(pages))
    expected = replayed(night, tonight.clock.moment)
    assert raised(tonight.told) == raised(expected)
    assert abs(first(tonight.told, alarm) - first(expected, alarm)) < 180
    assert Counter(sink.titles) == Counter(page.title for page in pages)
    assert not sink.wrong


BACK_AGAIN = ("Readings are back", "測定値が戻った")


def without_the_gap(told: Told) -> Told:
    """Without the word that nobody watched, which only a restart gives."""
    return [
        event
        for event in told
        if not (isinstance(event, Message) and event.title.startswith(BACK_AGAIN))
    ]


@pytest.mark.parametrize("end", ["stopped", "killed", "killed and upgraded"])
def test_a_restart_forgets_no_delay(
    evening: Callable[..., Evening], tmp_path: Path, end: str
) -> None:
    """A tank already out of its tolerance is told at the very moment as without the restart.

    A kill is the journal as it is at that moment; after an upgrade the kept state is unreadable.
    """
    lines = only(messages("slow-drift"), "tank-2", "t2-mid", "t2-valve")
    begin = lines[0].at
    early = [line for line in lines if line.at < begin + DRIFT_LEAVES]
    late = [line for line in lines if begin + DRIFT_LEAVES <= line.at < begin + 9 * 3600]
    tonight = evening(begin)
    with tonight.watching() as watch:
        tonight.play(watch, early)
        photograph(tmp_path / "data", tmp_path / "killed", tonight.catch_up(watch))
        told_before = list(tonight.told)
        moment = tonight.clock.moment
    unbroken = evening(begin, tmp_path / "unbroken")
    with unbroken.watching() as watch:
        unbroken.play(watch, early)
        unbroken.catch_up(watch)
        unbroken.play(watch, late)
        unbroken.catch_up(watch)
    again = evening(moment, tmp_path / ("data" if end == "stopped" else "killed"))
    if end == "killed and upgraded":
        with sqlite3.connect(tmp_path / "killed" / JOURNAL) as db:
            db.execute("UPDATE checkpoint SET version = 'of another age'")
    with again.watching() as watch:
        again.play(watch, late)
        again.catch_up(watch)
    assert first(unbroken.told, "tank-2/warm") > moment
    assert exactly(told_before + without_the_gap(again.told)) == exactly(unbroken.told)
    ids = [event.id for event in told_before + again.told if isinstance(event, Message)]
    assert len(set(ids)) == len(ids)


def only(lines: list[Recorded], *subjects: str) -> list[Recorded]:
    return [line for line in lines if line.topic.rpartition("/")[2] in subjects]


def photograph(data: Path, into: Path, mark: str) -> None:
    """The journal as a power cut would leave it once the entry `mark` was written."""
    into.mkdir()
    source, target = sqlite3.connect(data / JOURNAL), sqlite3.connect(into / JOURNAL)
    wait(lambda: source.execute("SELECT 1 FROM entry WHERE id = ?", (mark,)).fetchone() is not None)
    source.backup(target)
    source.close()
    target.close()


def test_it_ends_cleanly_when_asked(broker: Mosquitto, tmp_path: Path) -> None:
    """SIGTERM: within five seconds, exit 0, a goodbye at the broker, though a phone hangs."""
    start = messages("slow-drift")[0].at
    tank = only(messages("slow-drift"), "tank-2", "t2-mid")
    lines = [line for line in dated(tank) if line.at <= start + 9 * 3600]
    with Sink("hang") as sink, Heard(broker.port) as heard:
        child = spawn(broker, sink, tmp_path / "data", start + 9 * 3600, 1.0)
        publisher = Publisher(broker.port)
        wait(lambda: '"watching"' in heard.last.get("kura/watch/status", ""), 20)
        for line in lines:
            publisher.publish(line.topic, line.payload)
        publisher.flush()
        wait(lambda: bool(sink.tried), 20)
        took = Stopwatch()
        child.send_signal(signal.SIGTERM)
        assert child.wait(10) == 0
        assert took.read() < 5
        wait(lambda: '"stopped"' in heard.last.get("kura/watch/status", ""))
        publisher.close()
    journal = Journal.open(tmp_path / "data" / JOURNAL)
    assert journal.load_checkpoint() is not None
    assert journal.verify() == []
    journal.close()
    assert lacking(tmp_path / "data", lines) == []


def test_a_lost_broker_is_told_and_told_again_when_it_is_back(
    evening: Callable[..., Evening],
    broker: Mosquitto,
    tmp_path: Path,
    caplog: pytest.LogCaptureFixture,
) -> None:
    """After two minutes without to maintenance; it is over when it was there for two minutes."""
    lines = dated(messages("slow-drift")[:400])
    tonight = evening(lines[0].at)
    with tonight.watching() as watch:
        tonight.play(watch, lines)
        tonight.catch_up(watch)
        broker.stop()
        wait(lambda: not watch._door.connected)
        wait(lambda: "broker-lost" in watch.engine.impaired)
        tonight.pass_time(watch, 119)
        assert not steps(tonight.told, "watch/broker-lost")
        tonight.pass_time(watch, 2)
        wait(lambda: steps(tonight.told, "watch/broker-lost") == ["raised"])
        broker.start()
        wait(lambda: "broker-lost" not in watch.engine.impaired)
        assert steps(tonight.told, "watch/broker-lost") == ["raised"]
        tonight.pass_time(watch, 120)
        wait(lambda: steps(tonight.told, "watch/broker-lost") == ["raised", "returned"])
    lost = (f"broker: 127.0.0.1:{broker.port} {how}" for how in ("closed the", "broke the"))
    assert sum(caplog.text.count(line) for line in lost) == 1
    assert lacking(tonight.settings.data, lines) == []
    assert [e.person for e in tonight.told if isinstance(e, Message) and e.step == "page"] == [
        "ken"
    ]


def test_a_damaged_journal_is_set_aside_and_paged(
    evening: Callable[..., Evening], sink: Sink, tmp_path: Path
) -> None:
    """Whoever must log every batch anew has to be woken for it; the old file is kept."""
    data = tmp_path / "data"
    data.mkdir()
    (data / JOURNAL).write_bytes(b"SQLite format 3\0" + b"scratched" * 2000)
    tonight = evening(messages("slow-drift")[0].at)
    with tonight.watching():
        rungs = sink.await_count(2)
    assert {rung.path for rung in rungs} == {"/ken", "/aki"}
    assert all("kuraban.journal.damaged-1" in rung.body for rung in rungs)
    assert (data / "kuraban.journal.damaged-1").exists()


def test_a_phone_that_is_gone_is_told(evening: Callable[..., Evening], sink: Sink) -> None:
    """When somebody cannot be reached in any way, that itself is an alarm, until they can be."""
    lines = messages("slow-drift")
    tonight = evening(lines[0].at)
    sink.mode = "500"
    with tonight.watching() as watch:
        tonight.play(watch, [line for line in lines if line.at < lines[0].at + 9 * 3600])
        tonight.catch_up(watch)
        wait(lambda: bool(steps(tonight.told, "watch/pages-failing")), 30)
        sink.mode = "ok"
        wait(lambda: "pages-failing" not in watch.engine.impaired, 30)
        tonight.pass_time(watch, 300)
        wait(lambda: len(steps(tonight.told, "watch/pages-failing")) > 1, 30)
    assert steps(tonight.told, "watch/pages-failing") == ["raised", "returned"]


def test_alarm_states_stand_at_the_broker(
    evening: Callable[..., Evening], broker: Mosquitto
) -> None:
    """Whoever looks at the broker finds the alarms that stand, and no others."""
    lines = messages("slow-drift")
    tonight = evening(lines[0].at)
    with Heard(broker.port) as heard:
        with tonight.watching() as watch:
            tonight.play(watch, [line for line in lines if line.at < lines[0].at + 9 * 3600])
            tonight.catch_up(watch)
            topic = "kura/watch/alarm/tank-2/warm"
            wait(lambda: '"raised"' in heard.last.get(topic, ""))
            warm = '{"entry":"acknowledge","condition":"warm","by":"aki"}'
            tonight.publisher.publish("kura/log/tank-2", warm)
            wait(lambda: '"acknowledged"' in heard.last.get(topic, ""))
        heard.last.clear()
        with tonight.watching():
            wait(lambda: '"acknowledged"' in heard.last.get(topic, ""))
            assert heard.last.get("kura/watch/alarm/tank-2/trending-warm", "") != "raised"


@pytest.mark.needs_root
def test_a_full_disk_stops_no_judgement(
    evening: Callable[..., Evening], sink: Sink, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Full: judged and paged from memory, and told. Freed: written, nothing lost or sent twice."""
    disk = tmp_path / "disk"
    disk.mkdir()
    subprocess.run(("mount", "-t", "tmpfs", "-o", "size=16m", "tmpfs", disk), check=True)
    try:
        lines = dated(messages("slow-drift"))
        begin = lines[0].at
        tonight = evening(begin, disk)
        with tonight.watching() as watch:
            tonight.play(watch, [line for line in lines if line.at < begin + 7 * 3600])
            tonight.catch_up(watch)
        with tonight.watching() as watch:
            tonight.catch_up(watch)
            fill(disk / "ballast")
            rest = [line for line in lines if begin + 7 * 3600 <= line.at < begin + 9 * 3600]
            tonight.play(watch, rest[:1])
            wait(lambda: "journal-failing" in watch.engine.impaired)
            wait(lambda: watch._door.connected)
            tonight.play(watch, rest[1:])
            tonight.catch_up(watch)
            assert steps(tonight.told, "tank-2/warm") == ["raised"]
            pages = [e for e in tonight.told if isinstance(e, Message) and e.step == "page"]
            assert {page.person for page in pages} >= {"aki", "ken"}
            wait(lambda: {page.title for page in pages} <= set(sink.titles))
            failing = "the journal cannot be written, judging on without: "
            assert caplog.text.count(failing) == 1
            assert "free some space on that disk" in caplog.text.partition(failing)[2]
            (disk / "ballast").unlink()
            wait(lambda: "journal-failing" not in watch.engine.impaired, 90)
            wait(lambda: watch._door.connected)
            tonight.catch_up(watch)
        messages_told = [event for event in tonight.told if isinstance(event, Message)]
        assert Counter(sink.titles) == Counter(message.title for message in messages_told)
        history = History(disk / JOURNAL)
        assert history.unsent() == 0
        kept = list(history.messages(0, 1e12))
        history.close()
        assert {message.id for message in kept} == {message.id for message in messages_told}
        sent = [line for line in lines if line.at < begin + 9 * 3600]
        assert lacking(disk, sent) == []
        journal = Journal.open(disk / JOURNAL)
        assert journal.verify() == []
        journal.close()
    finally:
        subprocess.run(("umount", "-l", disk), check=True)


def fill(ballast: Path) -> None:
    """Take every block of the disk that is left."""
    with ballast.open("wb", buffering=0) as file:
        for size in (1 << 16, 1 << 12, 1):
            try:
                while True:
                    file.write(b"x" * size)
            except OSError:
                continue


def steps(told: Told, alarm: str) -> list[str]:
    return [event.step for event in told if isinstance(event, Step) and event.alarm == alarm]
