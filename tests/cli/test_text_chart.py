"""The small chart in the terminal."""

from __future__ import annotations

from kuraban.cli.text_chart import HIGH, chart

HOUR = 3600.0
RISING = [(600.0 * step, 10.0 + step / 36) for step in range(37)]


def test_a_rise_goes_from_the_lower_left_to_the_upper_right() -> None:
    lines = [line.plain for line in chart(RISING, [], 60)]
    assert len(lines) == HIGH
    assert lines[-1][7] != " " and lines[0].rstrip() == lines[0] and lines[0][8:20].isspace()
    assert lines[0].startswith(" 11.0") and lines[-1].startswith(" 10.0")


def test_every_line_keeps_within_the_window() -> None:
    assert all(len(line.plain) <= 40 for line in chart(RISING, RISING, 40))


def test_a_gap_is_never_bridged() -> None:
    """What was not measured is not drawn."""
    broken = [point for point in RISING if not 2 * HOUR < point[0] < 4 * HOUR]
    columns = zip(*(f"{line.plain:<67}" for line in chart(broken, [], 67)), strict=True)
    empty = [number for number, column in enumerate(columns) if not "".join(column).strip()]
    assert any(7 + 20 < number < 7 + 40 for number in empty)


def test_the_plan_is_told_from_the_measured_without_colour() -> None:
    """Dashes have gaps where a line has none."""
    level = [(at, 10.0) for at, _ in RISING]
    dashes = chart([], level, 67)[-1].plain[7:]
    line = chart(level, [], 67)[-1].plain[7:]
    assert " " in dashes.strip() and " " not in line.strip()


def test_nothing_is_drawn_of_nothing_or_in_no_room() -> None:
    assert chart([], [], 80) == []
    assert chart(RISING, [], 12) == []
