"""Real units over TCP and on a serial line: an answer is one to what was asked, or it is none."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager

import pytest

from kuraban.edges.modbus import Master, NoAnswer, Refused
from kuraban.settings.feed_settings import Line
from tests.feed.units import STATES, SUPPLY, Bench, on_a_line, over_tcp

Way = Callable[..., AbstractContextManager[Line]]
WAYS = pytest.mark.parametrize("way", [over_tcp, on_a_line], ids=["tcp", "rtu"])


@pytest.fixture
def bench() -> Bench:
    return Bench()


@pytest.fixture
def opened() -> Iterator[list[Master]]:
    masters: list[Master] = []
    yield masters
    for master in masters:
        master.close()


@WAYS
def test_a_unit_gives_registers_coils_and_contacts(
    way: Way, bench: Bench, opened: list[Master]
) -> None:
    with way(bench) as line:
        opened.append(master := Master(line))
        assert master.read(1, "holding", 0, 2) == [SUPPLY, STATES]
        assert master.read(2, "input", 1) == [STATES]
        assert [master.read(1, kind, 0, 3) for kind in ("coil", "contact")] == [[1, 0, 1]] * 2


@WAYS
def test_a_unit_that_is_not_there_is_silent_and_the_next_is_heard(
    way: Way, bench: Bench, opened: list[Master]
) -> None:
    with way(bench) as line:
        opened.append(master := Master(line))
        with pytest.raises(NoAnswer, match="unit 9 gave no answer"):
            master.read(9, "holding", 0)
        assert master.read(2, "holding", 0) == [SUPPLY]


@WAYS
def test_an_address_that_a_unit_has_not_is_no_silence(
    way: Way, bench: Bench, opened: list[Master]
) -> None:
    with way(bench) as line:
        opened.append(master := Master(line))
        with pytest.raises(Refused, match="unit 1: it has no such address"):
            master.read(1, "holding", 500)


def test_noise_on_a_serial_line_is_no_answer(bench: Bench, opened: list[Master]) -> None:
    """Its checksum tells."""
    with on_a_line(bench) as line:
        opened.append(master := Master(line))
        bench.noise = True
        with pytest.raises(NoAnswer):
            master.read(1, "holding", 0)
        bench.noise = False
        assert master.read(1, "holding", 0) == [SUPPLY]


def test_an_answer_that_comes_late_is_not_taken_for_another_units(
    bench: Bench, opened: list[Master]
) -> None:
    """It comes while the next unit is being asked."""
    bench.supply[2] = 77
    bench.late = {1: 0.25, 2: 0.1}
    with on_a_line(bench, timeout=0.2) as line:
        opened.append(master := Master(line))
        with pytest.raises(NoAnswer):
            master.read(1, "holding", 0)
        assert master.read(2, "holding", 0) == [77]
        bench.late.clear()
        assert master.read(1, "holding", 1) == [STATES]


def test_a_host_that_is_not_there_and_a_device_that_is_not_plugged_in_are_told() -> None:
    for line in (Line("a", host="127.0.0.1", port=9), Line("b", device="/dev/no-such-line")):
        with pytest.raises(NoAnswer, match="cannot be opened"):
            Master(line).read(1, "holding", 0)
