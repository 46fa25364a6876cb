"""The board's program in MicroPython before a real broker: nothing lost, nothing twice, through a
cut network, a full flash, and power that goes while a block is being written."""

from __future__ import annotations

import json
import random
import socket
import ssl
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.broker import Mosquitto, free_port
from tests.certificates import authority, certificate
from tests.deploy.board.bench import (
    NAMES,
    OTHER,
    Board,
    Network,
    counted,
    heard,
    time_server,
    until,
    with_board,
)
from tests.deploy.test_access import Client

pytestmark = pytest.mark.needs("micropython")


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with with_board(Mosquitto(tmp_path)) as running:
        yield running


@pytest.fixture
def watch(broker: Mosquitto) -> Iterator[Client]:
    """Whoever hears all readings, also those that come while it is away."""
    client = Client(broker.port, "kuraban", "kuraban", clean=False)
    client.subscribe("kura/reading/#")
    yield client
    client.close()


@pytest.fixture
def ntp() -> Iterator[str]:
    with time_server() as port:
        yield f"127.0.0.1:{port}"


@pytest.fixture
def boards() -> Iterator[list[Board]]:
    started: list[Board] = []
    yield started
    for board in started:
        if board.alive:
            board.kill()


@pytest.fixture
def network(broker: Mosquitto) -> Iterator[Network]:
    found = Network(broker.port)
    yield found
    found.close()


def all_came(watch: Client, board: Board) -> None:
    """What was measured last is heard; the very last may still be under way."""
    until(lambda: counted(watch)[-1:] >= [board.measured - 1])


def test_each_probe_speaks_under_its_own_topic_with_its_own_time(
    tmp_path: Path, broker: Mosquitto, watch: Client, ntp: str, boards: list[Board]
) -> None:
    """One that answers nothing says so, as a bus that has lost its probe; noise is no number."""
    board = Board(tmp_path / "board", broker.port, NTP=ntp, ONE_WIRE={4: NAMES})
    boards.append(board)
    board.start()
    until(lambda: len(heard(watch, "t4-mid")) > 2)
    (board.folder / "wire" / OTHER).write_text("noise")
    before = len(heard(watch, "t4-mid"))
    until(lambda: len(heard(watch, "t4-mid")) > before + 2)
    (board.folder / "wire" / OTHER).write_text("10.4375")
    until(lambda: heard(watch, "t4-mid")[-1][0] == 10.4375)
    assert {value for value, _ in heard(watch, "t4-mid")} == {-127, 10.4375}
    assert all(abs(at - time.time()) < 60 for _, at in heard(watch)[2:] if at is not None)
    assert counted(watch) == list(range(1, len(counted(watch)) + 1))
    assert "pin 4: 28-01234579fa16  t3-mid" in board.said


@pytest.mark.slow
def test_a_network_that_was_cut_and_is_healed_loses_nothing(
    tmp_path: Path, network: Network, watch: Client, ntp: str, boards: list[Board]
) -> None:
    """With the time of day: all in order, each at its own time. What was under way at the cut may
    come again with the same time, which is nothing to the watch."""
    board = Board(tmp_path / "board", network.port, NTP=ntp)
    boards.append(board)
    board.start()
    for _ in range(2):
        board.await_more(5)
        all_came(watch, board)
        network.cut()
        board.await_more(40)
        network.heal()
        board.await_more(5)
    all_came(watch, board)
    found = list(dict.fromkeys(heard(watch)))
    numbers = [round(value * 16) for value, _ in found]
    assert numbers == list(range(1, len(numbers) + 1))
    times = [at for _, at in found[2:] if at is not None]
    assert times == sorted(times) and len(times) >= len(numbers) - 3
    assert "no broker" in board.said


@pytest.mark.slow
def test_without_a_clock_what_was_kept_says_how_long_ago_it_was(
    tmp_path: Path, network: Network, watch: Client, boards: list[Board]
) -> None:
    board = Board(tmp_path / "board", network.port)
    boards.append(board)
    board.start()
    board.await_more(5)
    all_came(watch, board)
    network.cut()
    board.await_more(50)
    network.heal()
    board.await_more(5)
    all_came(watch, board)
    found = heard(watch)
    ages = [-at for _, at in found if at]
    assert len(ages) >= 30 and max(ages) > 1 and all(at is None for _, at in found[1:4])
    assert set(counted(watch)) == set(range(1, max(counted(watch)) + 1))
    twice = [number for number, count in Counter(counted(watch)).items() if count > 1]
    assert len(twice) <= 1, "only what was under way at the cut"


def test_the_time_that_is_known_later_dates_what_was_kept_before(
    tmp_path: Path, broker: Mosquitto, watch: Client, boards: list[Board]
) -> None:
    """Also of a start that ended with a power cut; what nobody can date any more is said."""
    broker.stop()
    with time_server() as port:
        began = time.time()
        board = Board(tmp_path / "board", broker.port, NTP=f"127.0.0.1:{port}")
        boards.append(board)
        (board.folder / "settings.py").write_text(
            (board.folder / "settings.py").read_text().replace(str(port), "9")
        )
        board.start()
        board.await_more(8)
        board.kill()
        undated = board.measured
        (board.folder / "settings.py").write_text(
            (board.folder / "settings.py").read_text().replace(":9'", f":{port}'")
        )
        board.start()
        board.await_more(8)
        board.kill()
        ended = time.time()
        broker.start()
        board.start()
        all_came(watch, board)
        board.await_more(3)
        until(lambda: "are lost: full, or of an unknown time" in board.said)
    numbers = counted(watch)
    assert min(numbers) > undated - 2
    assert numbers == sorted(set(numbers)) and max(Counter(numbers).values()) == 1
    first = heard(watch)[0][1]
    assert first is not None and began < first < ended


@pytest.mark.slow
def test_power_that_goes_while_a_block_is_written_costs_at_most_that_reading(
    tmp_path: Path, broker: Mosquitto, watch: Client, ntp: str, boards: list[Board]
) -> None:
    """Ten times, somewhere in the flash; its files can be read each time."""
    board, chance, cuts = Board(tmp_path / "board", broker.port, NTP=ntp), random.Random(10), 10
    boards.append(board)
    broker.stop()
    for _ in range(cuts):
        board.start(CUT=chance.randint(8, 40))
        assert board.ends() == -9
    broker.start()
    board.start()
    board.await_more(5)
    until(lambda: "connected" in board.said)
    all_came(watch, board)
    numbers = counted(watch)
    assert max(Counter(numbers).values()) == 1, "nothing twice"
    assert numbers == sorted(numbers), "in order"
    lost = set(range(1, max(numbers) + 1)) - set(numbers)
    assert len(lost) <= cuts, lost
    assert board.said.count("the power is cut") == cuts and "Traceback" not in board.said


@pytest.mark.slow
def test_a_full_flash_drops_the_oldest_and_says_how_many(
    tmp_path: Path, broker: Mosquitto, watch: Client, ntp: str, boards: list[Board]
) -> None:
    """Twelve blocks are 48 KB; each file takes one, and a file here has five lines."""
    board = Board(tmp_path / "board", broker.port, NTP=ntp)
    boards.append(board)
    broker.stop()
    board.start(BLOCKS=12, LINES=5)
    board.await_more(90)
    broker.start()
    until(lambda: "kept readings are lost" in board.said)
    board.await_more(3)
    all_came(watch, board)
    numbers = counted(watch)
    assert max(Counter(numbers).values()) == 1 and numbers == sorted(numbers)
    lost = int(board.said.partition(" kept readings are lost")[0].rsplit("\n", 1)[-1])
    assert len(set(range(1, max(numbers) + 1)) - set(numbers)) == lost > 0
    assert numbers[0] == lost + 1, "the oldest"


def test_more_than_it_is_told_to_keep_is_not_kept(
    tmp_path: Path, broker: Mosquitto, watch: Client, ntp: str, boards: list[Board]
) -> None:
    board = Board(tmp_path / "board", broker.port, NTP=ntp, KEEP=20)
    boards.append(board)
    broker.stop()
    board.start(LINES=5)
    board.await_more(45)
    broker.start()
    until(lambda: "kept readings are lost" in board.said)
    all_came(watch, board)
    numbers = counted(watch)
    assert 10 <= len([n for n in numbers if n <= 45]) <= 20 and numbers == sorted(set(numbers))


@pytest.mark.slow
def test_a_broker_that_never_answers_does_not_wake_the_watchdog(
    tmp_path: Path, boards: list[Board]
) -> None:
    """It takes connections and says nothing; the probes are read on, and kept."""
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        board = Board(tmp_path / "board", deaf.getsockname()[1])
        boards.append(board)
        board.start(PATIENCE=4)
        until(lambda: "no broker" in board.said)
        board.await_more(10)
        assert board.alive and "watchdog" not in board.said


def test_a_wrong_password_and_a_refused_topic_are_told(
    tmp_path: Path, broker: Mosquitto, watch: Client, boards: list[Board]
) -> None:
    wrong = Board(tmp_path / "wrong", broker.port, PASSWORD="no")
    stray = Board(tmp_path / "stray", broker.port, ONE_WIRE={4: {"28-01234579fa16": "t9-mid"}})
    boards += [wrong, stray]
    for board in boards:
        board.start()
    until(lambda: "refuses board-cellar (135): user and password?" in wrong.said)
    until(lambda: "does not let this user write kura/reading/t9-mid" in stray.said)
    assert not watch.heard


def test_without_the_wi_fi_it_reads_on_and_asks_again(
    tmp_path: Path, broker: Mosquitto, watch: Client, ntp: str, boards: list[Board]
) -> None:
    board = Board(tmp_path / "board", broker.port, NTP=ntp, WIFI=("cellar", "word"))
    boards.append(board)
    board.start()
    until(lambda: "no broker: no network yet" in board.said)
    board.await_more(20)
    assert (board.folder / "asked").stat().st_size > 1
    (board.folder / "wifi").touch()
    until(lambda: "connected" in board.said)
    all_came(watch, board)
    assert counted(watch)[0] == 1


def test_it_comes_in_by_tls_and_only_to_a_broker_that_is_vouched_for(
    tmp_path: Path, ntp: str, boards: list[Board]
) -> None:
    """As the delivered listener for the probes' network wants it."""
    authority(tmp_path, "ca")
    certificate(tmp_path, "server", "IP:127.0.0.1", "30")
    authority(tmp_path, "stranger")
    port = free_port()
    lines = (
        f"\nlistener {port} 127.0.0.1\ncafile {tmp_path}/ca.crt\ncertfile {tmp_path}/server.crt\n"
        f"keyfile {tmp_path}/server.key\nuse_username_as_clientid true\n"
    )
    with with_board(Mosquitto(tmp_path, lines)) as broker:
        watch = Client(broker.port, "kuraban", "kuraban")
        watch.subscribe("kura/reading/#")
        for name in ("stranger", "ca"):
            text = (tmp_path / f"{name}.crt").read_text()
            der = tmp_path / f"{name}.der"
            der.write_bytes(ssl.PEM_cert_to_DER_cert(text))
            board = Board(tmp_path / name, port, CA=str(der), NTP=ntp)
            boards.append(board)
            board.start()
            until(lambda: "connected" in board.said or "no broker" in board.said)  # noqa: B023
            board.await_more(3)
            assert bool(watch.heard) == (name == "ca"), board.said
        watch.close()


def test_a_pt100_is_read_through_its_converter(
    tmp_path: Path, broker: Mosquitto, watch: Client, ntp: str, boards: list[Board]
) -> None:
    """Its table (IEC 60751): 103.90 ohm are 10.00 °C, 98.04 are -5.00; a cut wire is no number."""
    board = Board(
        tmp_path / "board", broker.port, NTP=ntp, ONE_WIRE={},
        SPI={"id": 1, "sck": 18, "mosi": 23, "miso": 19},
        PT100={"t3-mid": {"cs": 5, "wires": 3, "reference": 430.0}},
    )  # fmt: skip
    boards.append(board)
    for ohm in (103.90, 98.04):
        (board.folder / "pt100").write_text(str(round(ohm * 32768 / 430.0) << 1))
        if not board.alive:
            board.start()
        wanted = {103.90: 10.0, 98.04: -5.0}[ohm]
        until(lambda: any(abs(v - wanted) < 0.03 for v, _ in heard(watch)))  # noqa: B023
    for broken in (1, 32767 << 1):
        (board.folder / "pt100").write_text(str(broken))
        before = len(heard(watch))
        until(lambda: len(heard(watch)) > before + 3)  # noqa: B023
        assert heard(watch)[-1][0] == -127, json.dumps(broken)
