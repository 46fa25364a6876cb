"""A bus gives a value or says why not, and nothing that hangs on it holds up the others."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.edges.modbus import Master
from kuraban.feed import buses
from kuraban.feed.buses import CommandOutput, Found, ModbusLine, OneWire, Silent, celsius
from kuraban.settings.feed import Command, Value, Wire
from tests.edges.test_modbus import Way
from tests.feed.units import AIR, Bench, on_a_line, over_tcp
from tests.nights import wait

ROM = "28-0316a2794f1e"
VALUES = (
    Value("c1-supply", "chillers", 1, 0, scale=0.1),
    Value("c1-runs", "chillers", 1, 1, type="bit", bit=2),
    Value("c1-air", "chillers", 1, 2, type="float32", order="CDAB"),
    Value("c2-supply", "chillers", 2, 0, scale=0.1),
)


def shown(found: Found) -> object:
    return str(found) if isinstance(found, Silent) else found


def of(bus: OneWire | ModbusLine | CommandOutput) -> dict[str, object]:
    return {probe: shown(found) for probe, found in bus.read()}


def one_wire(folder: Path, **files: str) -> dict[str, object]:
    probe = folder / ROM
    probe.mkdir(exist_ok=True)
    for name, text in files.items():
        (probe / name).write_text(text)
    return of(OneWire(folder, (Wire("t3-mid", ROM), Wire("t4-mid", "28-000000000000"))))


GONE = "28-000000000000 does not hang on the bus; look at its cable"
GOOD = "a3 01 4b 46 7f ff 0c 10 d8 : crc=d8 {}\na3 01 4b 46 7f ff 0c 10 d8 t={}\n"


def test_a_probe_on_the_wire_is_read_in_either_of_the_kernels_files(tmp_path: Path) -> None:
    assert one_wire(tmp_path, w1_slave=GOOD.format("YES", "26187"))["t3-mid"] == 26.187
    found = one_wire(tmp_path, temperature="-1062\n")
    assert found == {"t3-mid": -1.062, "t4-mid": GONE}


@pytest.mark.parametrize(
    ("files", "why"),
    [
        ({"w1_slave": GOOD.format("NO", "26187")}, "checksum is wrong"),
        ({"temperature": ""}, "gave no number"),
        ({"w1_slave": ""}, "checksum is wrong"),
        ({}, "cannot be read"),
    ],
)
def test_noise_on_the_wire_is_no_reading(tmp_path: Path, files: dict[str, str], why: str) -> None:
    assert why in str(one_wire(tmp_path, **files)["t3-mid"])


def test_a_probe_that_is_pulled_off_while_it_is_read_is_no_reading(tmp_path: Path) -> None:
    (tmp_path / ROM / "temperature").mkdir(parents=True)
    with pytest.raises(Silent, match="cannot be read"):
        celsius(tmp_path / ROM)


@pytest.fixture
def time_goes(monkeypatch: pytest.MonkeyPatch) -> Callable[[float], None]:
    """Lets so many seconds go by."""
    now = [1000.0]
    monkeypatch.setattr(buses, "elapsed", lambda: now[0])

    def go(seconds: float) -> None:
        now[0] += seconds

    return go


HEALTHY = {"c1-supply": 23.5, "c1-runs": True, "c1-air": AIR, "c2-supply": 23.5}
SILENT = dict.fromkeys(HEALTHY, "unit 1 gave no answer that could be read") | {"c2-supply": 23.5}


@pytest.mark.parametrize("way", [over_tcp, on_a_line], ids=["tcp", "rtu"])
def test_a_dead_unit_is_asked_once_in_a_while_and_the_others_are_read(
    way: Way, time_goes: Callable[[float], None]
) -> None:
    bench = Bench()
    with way(bench, timeout=0.2) as line:
        bus = ModbusLine(line, master := Master(line), VALUES)
        assert of(bus) == HEALTHY
        bench.dead, bench.asked = {1}, []
        assert [of(bus), of(bus)] == [SILENT, SILENT]
        assert bench.asked == [1, 2, 2]
        bench.dead = set()
        time_goes(2.1)
        assert of(bus) == HEALTHY
        master.close()


def test_an_answer_that_comes_late_is_never_another_values(
    time_goes: Callable[[float], None],
) -> None:
    """A unit that always answers too late gives no reading at all, however often it is asked."""
    bench = Bench()
    bench.late[1] = 0.25
    with on_a_line(bench, timeout=0.2) as line:
        bus = ModbusLine(line, master := Master(line), VALUES)
        for _ in range(3):
            assert of(bus) == SILENT
        time.sleep(0.2)
        bench.late.clear()
        time_goes(2.1)
        assert of(bus) == HEALTHY
        master.close()


def test_a_wrong_table_is_told_by_its_value(tmp_path: Path) -> None:
    wrong = (
        Value("a", "chillers", 1, 900),
        Value("b", "chillers", 1, 3, type="float32", order="ABCD"),
    )
    with over_tcp(Bench()) as line:
        found = of(ModbusLine(line, master := Master(line), wrong))
        assert found["a"] == "unit 1: it has no such address (holding 900)"
        assert "no such address (holding 3)" in str(found["b"])
        master.close()


@pytest.mark.parametrize(
    ("script", "pointer", "expected"),
    [
        ("echo 'cellar: 10.46 C, 81 %'", None, 10.46),
        ("echo -3", None, -3.0),
        ('echo \'{"air": [{"celsius": 9.5}]}\'', "/air/0/celsius", 9.5),
        ("echo '{\"runs\": true}'", "/runs", True),
        ("echo nothing", None, 'there is no number in "nothing\\n"'),
        ("echo '10,46'", None, 'there is no number in "10,46\\n"'),
        ("echo '{}'", "/runs", 'there is nothing at /runs in "{}\\n"'),
        ('echo \'{"runs": "yes"}\'', "/runs", 'at /runs stands "yes", which is no number'),
        ("echo 10; exit 3", None, "/bin/sh ended with status 3"),
        ("sleep 60 & sleep 60", None, "/bin/sh did not end within 0.3 s"),
        ("yes", None, "/bin/sh did not end within 0.3 s"),
    ],
)
def test_a_command_gives_its_number_or_says_why_not(
    script: str, pointer: str | None, expected: object
) -> None:
    command = Command("cellar-air", ("/bin/sh", "-c", script), pointer, 0.3)
    began = time.monotonic()
    assert of(CommandOutput(command)) == {"cellar-air": expected}
    assert time.monotonic() - began < 5


def test_a_command_that_is_not_there_is_told() -> None:
    found = of(CommandOutput(Command("cellar-air", ("/no/such",))))
    assert found == {"cellar-air": "/no/such cannot be run (No such file or directory)"}


def test_what_a_command_started_is_ended_with_it(tmp_path: Path) -> None:
    script = f"sleep 60 & echo $! > {tmp_path}/pid; wait"
    of(CommandOutput(Command("cellar-air", ("/bin/sh", "-c", script), timeout=0.3)))
    pid = int((tmp_path / "pid").read_text())
    state = Path(f"/proc/{pid}/stat")
    wait(lambda: not state.exists() or state.read_text().split()[2] == "Z", 10)
