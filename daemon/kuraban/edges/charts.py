"""The curve of one place: one figure function for the page (SVG) and the phone (PNG).

Drawn like the trade's paper progress sheet: the band first, then the plan, then the measured line
on top. Gaps are gaps and never bridged, a suspect stretch is dotted. What people did stands under
the curve, a line for each kind with its letter at the left, so that no letter lies on another. Time
runs left to right; the turn of the brewery day is a rule with its day number, night hours are
faintly toned. The last value is written at the line's end; a forecast is a fan.

Matplotlib is imported with this module and costs some 55 MB: import it only where curves are
wanted, and away from the watch's loop. Nothing here goes through pyplot, so threads may draw side
by side.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from datetime import datetime, timedelta, tzinfo
from functools import cache
from itertools import pairwise
from typing import Final, Literal, NamedTuple

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import fontManager
from matplotlib.ticker import FuncFormatter, MaxNLocator

from kuraban.core import entries as e
from kuraban.core.timescale import moment_of
from kuraban.core.units import at_clock

Kind = Literal["stir", "addition", "stage", "sample", "probe-out", "work", "ring"]
Tone = Literal["day", "night", "paper"]


class Size(NamedTuple):
    """Points, 72 to the inch; `letters` is the height of every letter on it."""

    width: float
    height: float
    letters: float

    @property
    def across(self) -> tuple[float, float]:
        """Where the curve's sheet begins and how wide it is, as shares of the whole width."""
        left = 2.9 * self.letters / self.width
        return left, 1 - 3.9 * self.letters / self.width - left


PHONE: Final = Size(360, 245, 10)
PAGE: Final = Size(648, 302, 8)
HALF: Final = Size(461, 274, 8.5)
HAND: Final = Size(252, 236, 9)
"""A phone's picture; a page over the whole width of a desk; beside something else, or on a tablet;
held in the hand. Shown at 960, 592 and 328 CSS pixels their letters are 11 to 12 pixels high."""
DPI: Final = 144
HOUR: Final = 3600.0
STEPS: Final = (0.5, 1, 2, 3, 6, 12, 24, 48, 96, 168)
"""Hours between two marks of the time axis."""
MARKS: Final[dict[Kind, tuple[str, str, str]]] = {
    "stir": ("s", "櫂", "|"), "addition": ("a", "添", "v"), "stage": ("S", "工", "D"),
    "sample": ("x", "析", "x"), "probe-out": ("p", "抜", "o"), "work": ("w", "手", "^"),
    "ring": ("!", "呼", "s"),
}  # fmt: skip
"""Letter in English, letter in Japanese, mark."""
KINDS: Final[dict[type[e.Entry], Kind]] = {
    e.Stir: "stir", e.Addition: "addition", e.StageMark: "stage", e.Sample: "sample",
    e.ProbeOut: "probe-out", e.Handwork: "work", e.CaskIn: "work", e.CaskOut: "work",
}  # fmt: skip
"""The entries that stand on the strip."""
JAPANESE: Final = (
    "Noto Sans CJK JP", "Noto Sans JP", "Source Han Sans JP", "IPAexGothic", "IPAGothic",
    "Hiragino Sans", "Yu Gothic", "Meiryo", "TakaoPGothic", "VL PGothic", "MS Gothic",
)  # fmt: skip


class Ink(NamedTuple):
    """Paper and inks of one light."""

    paper: str
    ink: str
    quiet: str
    measured: str
    wash: str
    wash_share: float
    edge: str
    warm: str
    cold: str


DAY: Final = Ink(
    "#FAF7F0", "#1F2933", "#5A6472", "#1B3A6B", "#1B3A6B", 0.14, "#5B7BB0", "#A3271B", "#0B6E8A"
)
NIGHT: Final = Ink(
    "#12161C", "#E8E4DA", "#A6AFBB", "#9DBDF2", "#9DBDF2", 0.22, "#5B7BB0", "#FF9A8A", "#6FD3EE"
)
INKS: Final[dict[Tone, Ink]] = {
    "day": DAY, "night": NIGHT, "paper": DAY._replace(paper="#FFFFFF", ink="#000000"),
}  # fmt: skip


class Point(NamedTuple):
    """One measured value, °C; `suspect` where its probe is not to be believed."""

    at: float
    value: float
    suspect: bool = False


class Band(NamedTuple):
    """What is right, or what is to be expected, at a moment: from `low` to `high`, °C."""

    at: float
    low: float
    high: float


class Event(NamedTuple):
    at: float
    kind: Kind


class Turn(NamedTuple):
    """The turn of a brewery day; `label` as people call the day that begins, "" for none."""

    at: float
    label: str = ""
    plain: str = ""
    """The same in Latin letters, where no Japanese face is installed."""


matplotlib.rcParams.update(
    {"svg.fonttype": "none", "svg.hashsalt": "kuraban", "axes.unicode_minus": True}
)


@cache
def japanese_face() -> str | None:
    """The first installed face that has Japanese, None where there is none."""
    known = {font.name for font in fontManager.ttflist}
    return next((face for face in JAPANESE if face in known), None)


def legible(text: str, plain: str) -> str:
    """`text` if a face here can show it, else `plain`, else what of `text` it can show."""
    if japanese_face() is not None or _latin(text):
        return text
    return plain if plain and _latin(plain) else "".join(c for c in text if _latin(c)).strip()


def _latin(text: str) -> bool:
    return all(ord(character) < 0x2E80 for character in text)


def figure(
    points: Sequence[Point],
    plan: Sequence[tuple[float, float]],
    first_plan: Sequence[tuple[float, float]],
    band: Sequence[Band],
    events: Sequence[Event],
    language: str,
    zone: tzinfo,
    tone: Tone = "day",
    *,
    start: float, end: float, title: str = "", plain_title: str = "", turns: Sequence[Turn] = (),
    nights: Sequence[tuple[float, float]] = (), fan: Sequence[Band] = (), gap: float = 1200.0,
    size: Size = PAGE, drawn_by_browser: bool = False,
) -> Figure:  # fmt: skip
    """The curve over [start, end). Times are Unix seconds, temperatures °C, all in time order.

    A line is broken where two points are more than `gap` seconds apart. `drawn_by_browser` says
    that whoever looks brings the face, so that Japanese needs none here.
    """
    ink = INKS[tone]
    made = Figure(figsize=(size.width / 72, size.height / 72), dpi=DPI, facecolor=ink.paper)
    japanese = language == "ja" and (drawn_by_browser or japanese_face() is not None)
    faces = [face for face in (japanese_face(), "DejaVu Sans") if face is not None]
    kinds = [kind for kind in MARKS if any(event.kind == kind for event in events)]
    main, strip = _sheets(made, ink, size, len(kinds))
    _ground(main, ink, start, end, nights)
    _band(main, ink, band)
    _plan(main, ink, plan, first_plan)
    _fan(main, ink, fan)
    _measured(main, ink, points, gap)
    _range(main, points, plan, band, fan, start, end)
    _last(main, ink, points, band, size, end, faces)
    _events(strip, ink, events, kinds, japanese, size, faces)
    show = (lambda text, plain: text) if drawn_by_browser else legible
    named = [(turn.at, show(turn.label, turn.plain)) for turn in turns]
    _turns(main, strip, ink, named, size, faces)
    _clock(strip, ink, start, end, zone, size, faces)
    heading = f"{show(title, plain_title)}  °C".lstrip()
    main.set_title(heading, loc="left", color=ink.ink, fontsize=size.letters, fontfamily=faces)
    return made


def nights_of(
    duty_hours: tuple[float, float], start: float, end: float, zone: tzinfo
) -> list[tuple[float, float]]:
    """The stretches outside a site's duty hours that touch [start, end)."""
    morning, evening = duty_hours
    day = datetime.fromtimestamp(start, zone).date() - timedelta(days=1)
    found: list[tuple[float, float]] = []
    while (dusk := at_clock(day, evening, zone)) < end:
        day += timedelta(days=1)
        found.append((dusk, at_clock(day, morning, zone)))
    return found


def svg(made: Figure) -> bytes:
    """The figure as an SVG document, its text as text; the same figure gives the same bytes."""
    out = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # faces that the browser has and this machine does not
        canvas = FigureCanvasSVG(made)
        canvas.print_svg(  # type: ignore[no-untyped-call]
            out, metadata={"Date": None, "Creator": None}
        )
    return out.getvalue()


def png(made: Figure) -> bytes:
    out = io.BytesIO()
    FigureCanvasAgg(made).print_png(  # type: ignore[no-untyped-call]
        out, metadata={"Software": None}
    )
    return out.getvalue()


def _sheets(made: Figure, ink: Ink, size: Size, kinds: int) -> tuple[Axes, Axes]:
    """The curve's sheet, and beneath it the strip with a line for each kind of event."""
    left, wide = size.across
    line = size.letters / size.height
    below, high = 2 * line, max(1.25 * kinds, 0.3) * line
    main = made.add_axes((left, below + high, wide, 1 - below - high - 1.9 * line))
    strip = made.add_axes((left, below, wide, high))
    for sheet in (main, strip):
        for side in ("top", "right", "left", "bottom"):
            sheet.spines[side].set_visible(False)
        sheet.set_facecolor(ink.paper)
        sheet.tick_params(colors=ink.quiet, labelsize=size.letters, length=0)
    main.grid(axis="y", color=ink.quiet, alpha=0.18, linewidth=0.5)
    main.set_xticks([])
    main.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    main.yaxis.set_major_formatter(FuncFormatter(lambda value, _: _figure(value)))
    strip.set_yticks([])
    return main, strip


def _ground(
    main: Axes, ink: Ink, start: float, end: float, nights: Sequence[tuple[float, float]]
) -> None:
    main.set_xlim(start, end)
    for dusk, dawn in nights:
        left, right = max(dusk, start), min(dawn, end)
        if right > left:
            main.axvspan(left, right, color=ink.ink, alpha=0.05, linewidth=0)


def _band(main: Axes, ink: Ink, band: Sequence[Band]) -> None:
    if len(band) < 2:
        return
    at, low, high = zip(*band, strict=True)
    main.fill_between(at, low, high, color=ink.wash, alpha=ink.wash_share, linewidth=0)
    for edge in (low, high):
        main.plot(at, edge, color=ink.edge, linewidth=0.7)


def _plan(
    main: Axes, ink: Ink, plan: Sequence[tuple[float, float]],
    first_plan: Sequence[tuple[float, float]],
) -> None:  # fmt: skip
    if first_plan:
        main.plot(*zip(*first_plan, strict=True), color=ink.quiet, linewidth=0.8, alpha=0.5,
                  linestyle=(0, (1, 3)))  # fmt: skip
    if plan:
        main.plot(*zip(*plan, strict=True), color=ink.ink, linewidth=0.9, linestyle=(0, (4, 3)))


def _fan(main: Axes, ink: Ink, fan: Sequence[Band]) -> None:
    """Lighter the less sure: three wedges within one another, and a line along their middle."""
    if len(fan) < 2:
        return
    at = [one.at for one in fan]
    middle = [(one.low + one.high) / 2 for one in fan]
    main.plot(at, middle, color=ink.measured, linewidth=1, alpha=0.6, linestyle=(0, (1, 1.5)))
    for share, alpha in ((1.0, 0.10), (0.66, 0.10), (0.33, 0.12)):
        half = [share * (one.high - one.low) / 2 for one in fan]
        low = [m - h for m, h in zip(middle, half, strict=True)]
        high = [m + h for m, h in zip(middle, half, strict=True)]
        main.fill_between(at, low, high, color=ink.measured, alpha=alpha, linewidth=0)


def stretches(points: Sequence[Point], gap: float) -> list[list[Point]]:
    """The points in stretches without a gap, each believed or suspect throughout.

    A change from one to the other shares a point, so that the line goes on; a gap never does.
    """
    found: list[list[Point]] = []
    for point in points:
        last = found[-1][-1] if found else None
        if last is None or point.at - last.at > gap:
            found.append([point])
        elif point.suspect != last.suspect:
            found.append([last._replace(suspect=point.suspect), point])
        else:
            found[-1].append(point)
    return found


def _measured(main: Axes, ink: Ink, points: Sequence[Point], gap: float) -> None:
    for stretch in stretches(points, gap):
        at, value = [one.at for one in stretch], [one.value for one in stretch]
        if stretch[-1].suspect:
            main.plot(at, value, color=ink.quiet, linewidth=1.3, linestyle=(0, (1, 2)))
        elif len(stretch) == 1:
            main.plot(at, value, color=ink.measured, marker="o", markersize=2)
        else:
            main.plot(at, value, color=ink.measured, linewidth=2, solid_capstyle="round")


def _range(
    main: Axes, points: Sequence[Point], plan: Sequence[tuple[float, float]],
    band: Sequence[Band], fan: Sequence[Band], start: float, end: float,
) -> None:  # fmt: skip
    """Everything shown fits beneath the days' names, and a straight line is not blown up."""
    shown = [one.value for one in points if start <= one.at <= end and not one.suspect]
    shown += [value for at, value in plan if start <= at <= end and value == value]
    edges = (at_moment(band, start), at_moment(band, end))
    for one in (*(edge for edge in edges if edge is not None), *band, *fan):
        if start <= one.at <= end:
            shown += [one.low, one.high]
    shown = shown or [one.value for one in points] or [0.0, 1.0]
    low, high = min(shown), max(shown)
    room = max((high - low) * 0.08, (1.0 - (high - low)) / 2, 0.1)
    main.set_ylim(low - room, high + room + 0.1 * (high - low + 2 * room))


def _last(
    main: Axes, ink: Ink, points: Sequence[Point], band: Sequence[Band],
    size: Size, end: float, faces: list[str],
) -> None:  # fmt: skip
    """The last value at the line's end, with its side where it lies outside."""
    believed = [one for one in points if not one.suspect and one.at <= end]
    if not believed:
        return
    last = believed[-1]
    near = at_moment(band, last.at)
    colour, sign = ink.measured, ""
    if near is not None and last.value > near.high:
        colour, sign = ink.warm, "▲"
    elif near is not None and last.value < near.low:
        colour, sign = ink.cold, "▼"
    main.plot([last.at], [last.value], marker="o", markersize=3.5, color=colour)
    main.annotate(
        f"{sign}{_figure(last.value)}", (last.at, last.value), xytext=(4, 3),
        textcoords="offset points", color=colour, fontsize=size.letters + 1, fontweight="bold",
        annotation_clip=False, fontfamily=faces,
    )  # fmt: skip


def _figure(value: float) -> str:
    """One decimal, with a true minus sign."""
    return f"{round(value, 1) + 0.0:.1f}".replace("-", "\N{MINUS SIGN}")


def at_moment(band: Sequence[Band], at: float) -> Band | None:
    """The band at a moment, straight between two of its points; None outside of them."""
    for before, after in pairwise(band):
        if before.at <= at <= after.at:
            share = (at - before.at) / ((after.at - before.at) or 1.0)
            low = before.low + share * (after.low - before.low)
            return Band(at, low, before.high + share * (after.high - before.high))
    return None


def _events(
    strip: Axes, ink: Ink, events: Sequence[Event], kinds: Sequence[Kind], japanese: bool,
    size: Size, faces: list[str],
) -> None:  # fmt: skip
    """A line for each kind: its letter at the left, its marks at their times."""
    strip.set_ylim(0, max(len(kinds), 1))
    strip.axhline(max(len(kinds), 1), color=ink.quiet, linewidth=0.5, alpha=0.5)
    for number, kind in enumerate(reversed(kinds)):
        latin, kanji, mark = MARKS[kind]
        times = [event.at for event in events if event.kind == kind]
        strip.plot(times, [number + 0.5] * len(times), marker=mark, markersize=4, color=ink.ink,
                   linestyle="none")  # fmt: skip
        strip.annotate(
            kanji if japanese else latin, (0, number + 0.5), xycoords=("axes fraction", "data"),
            xytext=(-4, 0), textcoords="offset points", ha="right", va="center",
            fontsize=size.letters, color=ink.ink, annotation_clip=False, fontfamily=faces,
        )  # fmt: skip


def _turns(
    main: Axes, strip: Axes, ink: Ink, turns: Sequence[tuple[float, str]], size: Size,
    faces: list[str],
) -> None:  # fmt: skip
    """A rule each; its name where the one before leaves room for it."""
    left, right = main.get_xlim()
    point = (right - left) / (size.width * size.across[1])
    free = left
    for at, label in turns:
        if not left <= at <= right:
            continue
        for sheet in (main, strip):
            sheet.axvline(at, color=ink.quiet, linewidth=0.7, alpha=0.7)
        wide = (3 + size.letters * sum(0.62 if _latin(c) else 1.05 for c in label)) * point
        if label and at >= free and at + wide < right + 3 * size.letters * point:
            free = at + wide
            main.annotate(
                label, (at, 1.0), xycoords=("data", "axes fraction"), xytext=(3, -2), va="top",
                textcoords="offset points", color=ink.quiet, fontsize=size.letters,
                fontfamily=faces,
            )  # fmt: skip


def _clock(
    strip: Axes, ink: Ink, start: float, end: float, zone: tzinfo, size: Size, faces: list[str]
) -> None:
    strip.set_xlim(start, end)
    most = int(size.width * size.across[1] / (3.6 * size.letters))
    marks = clock_marks(start, end, zone, min(most, 7))
    strip.set_xticks([at for at, _ in marks])
    strip.set_xticklabels([label for _, label in marks], fontfamily=faces, color=ink.quiet)


def clock_marks(start: float, end: float, zone: tzinfo, most: int = 7) -> list[tuple[float, str]]:
    """Times to write under the axis, at even hours of the wall clock; dates from a day on."""
    hours = next((step for step in STEPS if (end - start) / HOUR / step <= most), STEPS[-1])
    local = datetime.fromtimestamp(start, zone)
    moment = local.replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    found: list[tuple[float, str]] = []
    while len(found) < 400:
        at = moment_of(moment.replace(tzinfo=zone).timestamp(), zone)
        if at > end:
            break
        if at >= start:
            label = f"{moment:%H:%M}" if hours < 24 else f"{moment.month}/{moment.day}"
            found.append((at, label))
        moment += timedelta(hours=float(hours))
    return found
