"""Somebody with a screwdriver sees what hangs on a bus, and which order of the bytes is right."""

from __future__ import annotations

from pathlib import Path

from kuraban.edges.modbus import Master
from kuraban.feed.look import answering, on_one_wire, registers
from tests.feed.units import Bench, on_a_line, over_tcp

NOBODY = "no unit answers; are speed, parity and the two wires right?"


def test_each_probe_on_the_wire_is_shown_with_its_value_and_its_name(tmp_path: Path) -> None:
    for rom, text in (("28-0316a2794f1e", "10460"), ("28-0416b3805a2d", "")):
        (tmp_path / rom).mkdir()
        (tmp_path / rom / "temperature").write_text(text)
    (tmp_path / "w1_bus_master1").mkdir()
    (nothing,) = on_one_wire(tmp_path / "28-0316a2794f1e", {})
    assert "the kernel does not drive the bus" in nothing
    assert list(on_one_wire(tmp_path, {"28-0316a2794f1e": "t3-mid"})) == [
        "28-0316a2794f1e    10.460 °C  t3-mid",
        "28-0416b3805a2d  28-0416b3805a2d gave no number; look at cable and joints  (no name yet)",
    ]


def test_the_units_that_answer_are_told_from_those_that_do_not() -> None:
    bench = Bench(3)
    bench.dead = {2}
    with on_a_line(bench, timeout=0.1) as line:
        master = Master(line)
        assert list(answering(master, [2, 4])) == [NOBODY]
        assert list(answering(master, range(1, 6))) == [
            "unit   1 answers; its holding register 0 is 235",
            "unit   3 answers; its holding register 0 is 235",
        ]
        master.close()


def test_the_row_with_the_displays_figure_says_which_order_is_right() -> None:
    with over_tcp(Bench()) as line:
        master = Master(line)
        shown = list(registers(master, 1, "holding", range(5)))
        assert shown[0].startswith("address, hex, int16")
        assert shown[1].startswith("    0  00eb  235 (-5376)  ABCD ")
        assert "CDAB 1093098537 10.46;" in shown[3]
        assert shown[4:] == ["    3  4127  16679 (10049)", "    4  unit 1: it has no such address"]
        assert list(registers(master, 1, "contact", range(2))) == ["    0  true", "    1  false"]
        master.close()
