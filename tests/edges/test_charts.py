"""The curve: what is drawn over what, what is broken, and what a phone can read."""

from __future__ import annotations

import math
import re
import threading
import time
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from kuraban.edges import charts
from kuraban.edges.charts import (
    DAY,
    HALF,
    HAND,
    INKS,
    NIGHT,
    PAGE,
    PHONE,
    Band,
    Event,
    Ink,
    Point,
    Size,
    Turn,
    at_moment,
    clock_marks,
    figure,
    legible,
    png,
    stretches,
    svg,
)

TOKYO = ZoneInfo("Asia/Tokyo")
START = 1769853600.0  # 2026-01-31T19:00+09:00
END = START + 14 * 3600.0
POINTS = [Point(START + n * 300, 10.3 + 0.2 * math.sin(n / 9)) for n in range(150)]
PLAN = [(START, 10.2), (END, 10.4)]
BAND = [Band(at, value - 0.5, value + 0.5) for at, value in PLAN]
EVENTS = [Event(START + 7200, "stir"), Event(START + 9 * 3600, "addition")]


def drawn(points: list[Point] = POINTS, language: str = "en", **more: Any) -> Any:
    given = {"title": "Tank 3", "plain_title": "tank-3", "start": START, "end": END, **more}
    tone = given.pop("tone", "day")
    band = given.pop("band", BAND)
    return figure(points, PLAN, [], band, EVENTS, language, TOKYO, tone, **given)


def text_of(made: Any) -> str:
    return re.sub(r"<[^>]+>", " ", svg(made).decode())


def test_a_gap_is_never_bridged() -> None:
    points = [Point(0, 10.0), Point(600, 10.1), Point(5000, 10.2), Point(5600, 10.3)]
    assert [len(one) for one in stretches(points, 1200)] == [2, 2]


def test_a_suspect_stretch_hangs_on_to_what_came_before() -> None:
    """And a gap beside it stays one."""
    points = [Point(0, 10.0), Point(600, 10.1, True), Point(1200, 10.2, True), Point(1800, 10.0)]
    found = stretches(points, 1200)
    assert [(one[-1].suspect, one[0].at, one[-1].at) for one in found] == [
        (False, 0, 0), (True, 0, 1200), (False, 1200, 1800),
    ]  # fmt: skip
    assert len(stretches([Point(0, 10.0), Point(9000, 10.1, True)], 1200)) == 2


def test_the_last_value_is_written_at_the_lines_end() -> None:
    assert f"{POINTS[-1].value:.1f}" in text_of(drawn())


@pytest.mark.parametrize(("last", "sign"), [(12.0, "▲12.0"), (8.0, "▼8.0"), (-0.04, "▼0.0"),
                                            (-3.0, "▼\N{MINUS SIGN}3.0")])  # fmt: skip
def test_outside_its_band_it_has_a_sign_and_not_colour_alone(last: float, sign: str) -> None:
    assert sign in text_of(drawn([*POINTS, Point(END - 60, last)]))


def test_a_suspect_value_is_not_the_last_one() -> None:
    assert "55.5" not in text_of(drawn([*POINTS, Point(END - 60, 55.5, True)]))


def test_the_band_is_straight_between_its_points() -> None:
    assert at_moment(BAND, (START + END) / 2) == pytest.approx((START + 7 * 3600, 9.8, 10.8))
    assert at_moment(BAND, END + 1) is None and at_moment([], START) is None


def test_a_band_that_begins_and_ends_outside_still_fits() -> None:
    """A plan has points only where it bends."""
    wide = [Band(START - 9e4, 5.0, 6.0), Band(END + 9e4, 14.0, 15.0)]
    low, high = drawn(band=wide).axes[0].get_ylim()
    first, last = at_moment(wide, START), at_moment(wide, END)
    assert first is not None and last is not None
    assert low < first.low and high > last.high


def test_day_and_title_are_words_of_the_language() -> None:
    """An SVG brings no faces: the browser has them."""
    made = drawn(
        language="ja", title="3号タンク", drawn_by_browser=True,
        turns=[Turn(START + 11 * 3600, "6日目", "day 6")],
    )  # fmt: skip
    text = text_of(made)
    assert "3号タンク" in text and "6日目" in text and "櫂" in text


def test_without_a_japanese_face_the_phone_gets_latin_letters(
    monkeypatch: pytest.MonkeyPatch, recwarn: pytest.WarningsRecorder
) -> None:
    """Never boxes in place of characters."""
    monkeypatch.setattr(charts, "japanese_face", lambda: None)
    made = drawn(language="ja", title="3号タンク", turns=[Turn(START + 7200, "6日目", "day 6")])
    assert png(made).startswith(b"\x89PNG")
    assert not [str(one.message) for one in recwarn if "missing" in str(one.message)]
    assert legible("3号タンク", "tank-3") == "tank-3"
    assert legible("3号タンク", "") == "3" and legible("Tank 3 °C", "") == "Tank 3 °C"


def test_a_forecast_is_a_fan_with_a_line_along_its_middle() -> None:
    """Three wedges over one another, so that it is lighter the less sure; and it fits the sheet."""
    last = POINTS[-1]
    fan = [Band(last.at, last.value, last.value), Band(END, 11.4, 12.2)]
    plain, fanned = drawn().axes[0], drawn(fan=fan).axes[0]
    assert len(fanned.collections) == len(plain.collections) + 3
    line = next(one for one in fanned.lines if list(one.get_ydata()) == [last.value, 11.8])
    assert list(line.get_xdata()) == [last.at, END]
    assert fanned.get_ylim()[1] > 12.2 > plain.get_ylim()[1]


SIZES = {"page": (PAGE, 928, 10), "half": (HALF, 592, 10), "hand": (HAND, 328, 11),
         "phone": (PHONE, 360, 10)}  # fmt: skip
"""Each with the least width in CSS pixels at which it is shown, and how high letters are then."""


@pytest.mark.parametrize(("size", "shown", "least"), SIZES.values(), ids=SIZES)
@pytest.mark.parametrize("days", [1, 14, 33])
def test_no_letter_is_too_small_or_lies_on_another(
    size: Size, shown: int, least: int, days: int
) -> None:
    """A day with everything in it, and a whole batch with stirs every few hours."""
    end = START + days * 86400.0
    events = [Event(START + n * 7200.0, kind) for kind in charts.MARKS for n in range(days * 6)]
    turns = [Turn(START + n * 86400.0, f"day {n + 1}") for n in range(days)]
    points = [Point(START + n * 3600.0, 10.0 + n % 5) for n in range(days * 24)]
    made = figure(
        points, [], [], [], events, "en", TOKYO, start=START, end=end, title="No. 12", size=size,
        turns=turns, drawn_by_browser=True,
    )  # fmt: skip
    canvas = FigureCanvasAgg(made)
    canvas.draw()
    main, strip = made.axes
    ticks = [*main.yaxis.get_major_ticks(), *strip.xaxis.get_major_ticks()]
    (low, high), (left, right) = main.get_ylim(), strip.get_xlim()
    shown_ticks = [one for one in ticks if low <= one.get_loc() <= high
                   or left <= one.get_loc() <= right]  # fmt: skip
    texts = [one.label1 for one in shown_ticks]
    texts += [*main.texts, *strip.texts]
    assert min(text.get_fontsize() for text in texts) * shown / size.width >= least
    boxes = [(text.get_text(), text.get_window_extent()) for text in texts]
    over = [
        (one, other)
        for number, (one, box) in enumerate(boxes)
        for other, another in boxes[number + 1 :]
        if box.overlaps(another)
    ]
    assert not over
    paper = made.bbox
    outside = [text for text, box in boxes if box.x0 < paper.x0 - 1 or box.x1 > paper.x1 + 1]
    assert not outside


def test_the_same_curve_is_the_same_document() -> None:
    assert svg(drawn()) == svg(drawn())


def test_nothing_measured_or_planned_is_an_empty_sheet() -> None:
    made = figure([], [], [], [], [], "en", TOKYO, start=START, end=END)
    assert png(made).startswith(b"\x89PNG") and svg(made).startswith(b"<?xml")


def test_the_night_has_its_own_paper() -> None:
    assert DAY.paper.lower() in svg(drawn()).decode().lower()
    assert NIGHT.paper.lower() in svg(drawn(tone="night")).decode().lower()


@pytest.mark.parametrize("ink", INKS.values(), ids=INKS)
def test_text_stands_out_from_its_paper(ink: Ink) -> None:
    """At least 5.4 : 1 by the contrast of WCAG 2.1, 1.4.3 (from memory)."""

    def light(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    for colour in (ink.ink, ink.quiet, ink.measured, ink.warm, ink.cold):
        pair = sorted((light(colour), light(ink.paper)))
        assert (pair[1] + 0.05) / (pair[0] + 0.05) >= 5.4


@pytest.mark.parametrize(
    ("hours", "first", "step"),
    [(3, "19:00", 0.5), (14, "20:00", 2), (24, "00:00", 6), (24 * 5, "2/1", 24)],
)
def test_times_stand_at_even_hours_of_the_wall_clock(hours: int, first: str, step: float) -> None:
    marks = clock_marks(START, START + hours * 3600, TOKYO)
    assert marks[0][1] == first and len(marks) <= 8
    assert marks[1][0] - marks[0][0] == step * 3600


def test_a_phones_picture_is_small_and_soon_drawn() -> None:
    made = drawn(size=PHONE)
    png(made)
    began = time.process_time()
    picture = png(drawn(size=PHONE))
    assert time.process_time() - began < 2.0
    assert len(picture) < 150_000


def test_threads_draw_side_by_side() -> None:
    """As the pages and the courier do."""
    wanted, got = svg(drawn()), list[bytes]()
    threads = [threading.Thread(target=lambda: got.append(svg(drawn()))) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert got == [wanted] * 6
