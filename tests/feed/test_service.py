"""A whole feed in its own process, before a real broker and a real watch: nothing lost or twice."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from threading import Event

import pytest

from kuraban.feed.buses import Found
from kuraban.feed.service import Feed, buses_of
from kuraban.runtime.watch import JOURNAL
from kuraban.settings.feed import Command, FeedSettings, Line, Value, Wire
from kuraban.settings.model import Mqtt
from kuraban.store.history import History
from kuraban.store.reading_buffer import ReadingBuffer
from tests.broker import USERS, Mosquitto, free_port
from tests.feed.units import Bench, on_a_line, over_tcp
from tests.nights import await_hearing, spawn, wait
from tests.sink import Sink

ROM = "28-0316a2794f1e"
COUNTS = "n=$(($(wc -l <{0})+1)); echo $n >>{0}; echo 10.$(printf %03d $n)"
"""A command that writes down what it has measured: 10.001, 10.002 and so on."""
FILE = """\
[mqtt]
port = {port}
user = "feed"
password = "{word}"
turn = "0.2s"
[feed]
every = "0.2s"
one_wire = "w1"
[[wire]]
id = "t3-mid"
rom = "28-0316a2794f1e"
[[line]]
id = "tcp"
host = "127.0.0.1"
port = {tcp}
timeout = "0.2s"
[[line]]
id = "rtu"
device = "{device}"
parity = "none"
timeout = "0.2s"
[[value]]
id = "ch1-supply"
line = "rtu"
unit = 1
address = 0
scale = 0.1
[[value]]
id = "ch1-running"
line = "tcp"
unit = 1
address = 1
type = "bit"
bit = 2
[[command]]
id = "t4-mid"
run = ["/bin/sh", "-c", "{counts}"]
"""


def feed_file(folder: Path, port: int, tcp: Line, rtu: Line) -> Path:
    (folder / "w1" / ROM).mkdir(parents=True)
    (folder / "w1" / ROM / "temperature").write_text("10460\n")
    (folder / "ledger").touch()
    counts = COUNTS.format(folder / "ledger")
    path = folder / "feed.toml"
    path.write_text(
        FILE.format(port=port, word=USERS["feed"], tcp=tcp.port, device=rtu.device, counts=counts)
    )
    return path


def start(config: Path) -> subprocess.Popen[bytes]:
    command = "from kuraban.cli import main; main()"
    words = [sys.executable, "-c", command, "feed", "--config", str(config)]
    with (config.parent / "feed.log").open("ab") as log:
        return subprocess.Popen(words, stderr=log)


def journaled(data: Path, probe: str) -> list[float]:
    history = History(data / JOURNAL)
    found = [value for _, value in history.readings(probe, 0, 1e12)]
    history.close()
    return found


def measured(ledger: Path) -> int:
    return len(ledger.read_text().splitlines())


def await_more(ledger: Path, count: int) -> None:
    before = measured(ledger)
    wait(lambda: measured(ledger) >= before + count, 30)


@pytest.mark.timeout(120)
def test_every_reading_comes_once_through_killed_feeds_and_brokers_that_were_away(
    tmp_path: Path,
) -> None:
    """Four buses at once. A feed killed amid loses at most what it was just reading."""
    ledger, data = tmp_path / "ledger", tmp_path / "data"
    bench = Bench()
    with (
        Mosquitto(tmp_path) as broker, Sink() as sink,
        over_tcp(bench) as tcp, on_a_line(bench) as rtu,
    ):  # fmt: skip
        watch = spawn(broker, sink, data, time.time(), 1.0)
        await_hearing(data)
        config = feed_file(tmp_path, broker.port, tcp, rtu)
        feed = start(config)
        await_more(ledger, 8)
        feed.kill()
        broker.kill()
        feed.wait()
        feed = start(config)
        await_more(ledger, 8)
        feed.kill()
        feed.wait()
        broker.start()
        feed = start(config)
        await_more(ledger, 8)
        feed.send_signal(signal.SIGTERM)
        assert feed.wait(15) == 0
        left = ReadingBuffer(tmp_path / "feed.buffer", 1000, print)
        wait(lambda: len(journaled(data, "t4-mid")) + left.count >= measured(ledger) - 2, 30)
        watch.terminate()
        assert watch.wait(15) == 0
        waiting = [float(one.value) for one in left.oldest(1000) if one.probe == "t4-mid"]
        found = [*journaled(data, "t4-mid"), *(v for v in waiting)]
        assert max(Counter(found).values()) == 1, "nothing twice"
        assert found == sorted(found), "in order"
        lost = {round(10 + n / 1000, 3) for n in range(1, measured(ledger) + 1)} - set(found)
        assert len(lost) <= 2
        assert set(journaled(data, "t3-mid")) == {10.46}
        assert set(journaled(data, "ch1-supply")) == {23.5}
        assert set(journaled(data, "ch1-running")) == {1.0}
    assert "Traceback" not in (tmp_path / "feed.log").read_text()


class Hangs:
    """A bus that does not come back until the test is over."""

    name = "hangs"

    def __init__(self, over: Event) -> None:
        self._over = over

    def read(self) -> Iterator[tuple[str, Found]]:
        self._over.wait(30)
        yield from ()


class Breaks:
    """A bus with a fault of ours."""

    name = "breaks"

    def read(self) -> Iterator[tuple[str, Found]]:
        raise RuntimeError("a bug")


class Counts:
    name = "counts"

    def read(self) -> Iterator[tuple[str, Found]]:
        yield "t3-mid", 10.46


def test_a_bus_that_hangs_or_breaks_holds_up_no_other(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    over = Event()
    settings = FeedSettings(Mqtt(port=free_port(), turn=0.01), tmp_path / "buffer", every=0.02)
    feed = Feed(settings, [Hangs(over), Breaks(), Counts()])
    running = threading.Thread(target=feed.run)
    running.start()
    buffer = ReadingBuffer(tmp_path / "buffer", 1000, print)
    wait(lambda: len(buffer.oldest(1000)) >= 20, 20)
    feed.stop()
    over.set()
    running.join(10)
    assert [line for line in caplog.messages if "breaks: no reading: RuntimeError: a bug" in line] \
        == ["breaks: no reading: RuntimeError: a bug"]  # fmt: skip


class Slow:
    """A bus of many probes, each of which takes a while."""

    name = "slow"

    def __init__(self) -> None:
        self.read_so_far = 0

    def read(self) -> Iterator[tuple[str, Found]]:
        while True:
            time.sleep(0.02)
            self.read_so_far += 1
            yield "t3-mid", 10.46


def test_a_feed_that_is_to_stop_keeps_what_it_has_just_read(tmp_path: Path) -> None:
    settings = FeedSettings(Mqtt(port=free_port(), turn=60.0), tmp_path / "buffer")
    feed = Feed(settings, [bus := Slow()])
    running = threading.Thread(target=feed.run)
    running.start()
    wait(lambda: bus.read_so_far > 5, 20)
    feed.stop()
    running.join(10)
    assert ReadingBuffer(tmp_path / "buffer", 1000, print).count == bus.read_so_far


def test_only_a_bus_with_values_is_read() -> None:
    """A line may stand in the file for `feed look` alone."""
    settings = FeedSettings(
        Mqtt(), Path("buffer"),
        wires=(Wire("t3-mid", ROM),),
        lines=(Line("used", host="127.0.0.1"), Line("unused", host="127.0.0.1")),
        values=(Value("c1-supply", "used", 1, 0),),
        commands=(Command("air", ("true",)),),
    )  # fmt: skip
    assert [bus.name for bus in buses_of(settings)] == ["1-wire", "line used", "command air"]
