"""`kuraban rehearse`: recorded nights with other tolerances, delays and rules, side by side."""

from __future__ import annotations

import importlib
import math
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Annotated, NamedTuple

import msgspec
import typer
from rich.progress import (
    BarColumn,
    Progress,
    TaskID,
    TaskProgressColumn,
    TextColumn,
    TimeElapsedColumn,
)

import kuraban
from kuraban.cli.common import (
    Site,
    console,
    counted,
    house_of,
    lasting,
    say,
    say_json,
    table,
    tell,
    watched,
    wrong,
)
from kuraban.cli.moments import moment
from kuraban.core.site import House
from kuraban.core.timescale import moment_of
from kuraban.core.units import HOUR, MINUTE, show_time
from kuraban.queries.journal_state import clock, open_history
from kuraban.queries.journal_to_recording import retell
from kuraban.recording import BadLine, BadLines, Recorded, merged
from kuraban.rehearse import Change, Rehearsal, read_changes, rehearse
from kuraban.rehearse.spells import Pair
from kuraban.rehearse.variants import Passed
from kuraban.settings.paths import journal_of

EXAMPLES = """\b
Examples:
  kuraban rehearse --with tolerance=+0.1 --with delay=90m night.jsonl.gz
  kuraban rehearse --since yesterday --with moromi-slow-33.moromi.tolerance=0.6
  kuraban rehearse --since -30d --with trending-warm=off
  kuraban rehearse --since -200d --with delay=60m --or delay=90m --or "delay=90m tolerance=+0.1\""""
LEAD = 12 * HOUR
"""How far before --since the journal is played, so that what runs then is known."""
CHECKOUT = Path(kuraban.__file__).resolve().parents[2]


def add_to(app: typer.Typer) -> None:
    app.command(name="rehearse", epilog=EXAMPLES)(play)


def play(
    recordings: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="RECORDING",
            help="JSON Lines, also packed (.gz); without any, the journal.",
            show_default=False,
        ),
    ] = None,
    site: Site = None,
    otherwise: Annotated[
        list[str] | None,
        typer.Option(
            "--with",
            metavar="KEY=VALUE",
            help="A change, as often as wanted: [COURSE.[STAGE.]]KEY=VALUE with tolerance, notice, "
            "limit (also .below, .above), delay, limit_delay or settle; PLACE.band=1..8 or "
            "PLACE.delay; CONDITION=off. A sign, as in +0.1 or -30m, changes what each has.",
            show_default=False,
        ),
    ] = None,
    further: Annotated[
        list[str] | None,
        typer.Option(
            "--or",
            metavar="CHANGES",
            help="Another variant besides, its changes parted by spaces, as often as wanted.",
            show_default=False,
        ),
    ] = None,
    since: Annotated[
        str | None,
        typer.Option(metavar="TIME", help="Count only what came after.", show_default=False),
    ] = None,
    until: Annotated[
        str | None,
        typer.Option(metavar="TIME", help="Stop then.", show_default=False),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="All of it as one JSON object.")] = False,
    score: Annotated[
        bool,
        typer.Option("--score", help="Invented nights with their truth; from a checkout only."),
    ] = False,
    nights: Annotated[
        int, typer.Option(min=1, help="With --score: seeds, each a January and an April night.")
    ] = 30,
    seed: Annotated[int, typer.Option(min=0, help="With --score: the first seed.")] = 1000,
) -> None:
    """Who would have been woken, with other tolerances, delays or rules.

    Plays recorded nights twice through the very same core, as the house is and with the changes
    given by --with, and prints both side by side. Nothing is changed, and nobody is told anything.
    What people logged stays as it was; their verdicts count the needless rings. With --or several
    variants are played at once, on all cores, and each is shown as soon as it is played.
    """
    if score:
        _score(nights, seed, as_json)
        return
    settings, words = house_of(site) if recordings else watched(site)
    house = settings.house
    asked = [otherwise or [], *(changes.split() for changes in further or [])]
    variants = [read_changes(texts, house) for texts in asked if texts]
    several = len(variants) > 1
    if not variants:
        right = "say what would be different, such as --with tolerance=+0.1"
        raise wrong("command line", "--with", "nothing is changed", right)
    now = None if recordings else moment_of(clock(), house.zone)
    start = None if since is None else moment(since, "--since", house.zone, now)
    end = None if until is None else moment(until, "--until", house.zone, now)
    source: Recordings | FromJournal = Recordings(tuple(recordings or ()))
    if not recordings:
        journal = journal_of(settings)
        end = _reaches(journal) if end is None else end
        source = FromJournal(journal, settings.mqtt.root, start, end)
    bad = BadLines()
    with _bar(source.total(), 1 + len(variants)) as bar:
        played = rehearse(
            house, settings.mqtt.root, words, source, variants, passed=bar.passed, bad=bad.add,
            since=-math.inf if start is None else start, until=end,
        )  # fmt: skip
        documents = []
        for changes, done in zip(variants, played, strict=True):
            shown = msgspec.structs.replace(house, clock=done.clock)
            said = [change.text for change in changes]
            documents.append(({"with": said} if several else {}) | _document(done, shown))
            if not as_json:
                with bar.aside():
                    _show(done, shown, changes if several else ())
    if as_json:
        say_json({"variants": documents} if several else documents[0])
    for line in bad.first:
        tell(f"{line.where}: {line.reason}; passed over")
    times = counted(1 + len(variants), "time") if several else "twice"
    tell(f"{counted(done.messages, 'message')} played {times}")


class Recordings(NamedTuple):
    """Messages out of files; a line that is no message is counted and passed over."""

    paths: tuple[Path, ...]

    def size(self) -> int:
        return sum(path.stat().st_size for path in self.paths if path.is_file())

    def total(self) -> int | None:
        packed = any(path.suffix == ".gz" for path in self.paths)
        return None if packed else self.size()

    def messages(self, bad: Callable[[BadLine], None], passed: Passed) -> Iterator[Recorded]:
        return merged(list(self.paths), bad, passed)


class FromJournal(NamedTuple):
    """Everything the watch knew, from some hours before the time that counts."""

    path: Path
    root: str
    start: float | None
    end: float | None

    def size(self) -> int:
        return self.path.stat().st_size

    def total(self) -> int | None:
        """Seconds."""
        if self.start is None or self.end is None:
            return None
        return int(self.end - self.start + LEAD)

    def messages(self, bad: Callable[[BadLine], None], passed: Passed) -> Iterator[Recorded]:
        history = open_history(self.path)
        begin = told = None if self.start is None else self.start - LEAD
        try:
            for line in retell(history, self.root, begin, self.end):
                if told is not None and line.at - told >= MINUTE:
                    passed(int(line.at - told))
                    told += int(line.at - told)
                yield Recorded(line.at, line.topic, line.payload.encode(), line.retained)
        finally:
            history.close()


def _reaches(journal: Path) -> float | None:
    """Up to when the journal tells."""
    history = open_history(journal)
    try:
        return history.now()
    finally:
        history.close()


class _Bar(NamedTuple):
    """A bar on a terminal, taken away while something is shown."""

    progress: Progress | None
    task: TaskID

    def passed(self, count: int) -> None:
        if self.progress is not None:
            self.progress.advance(self.task, count)

    @contextmanager
    def aside(self) -> Iterator[None]:
        if self.progress is None:
            yield
            return
        self.progress.stop()
        yield
        self.progress.start()


@contextmanager
def _bar(total: int | None, times: int) -> Iterator[_Bar]:
    if not sys.stderr.isatty():
        yield _Bar(None, TaskID(0))
        return
    columns = (TextColumn("rehearsing"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console(stderr=True), transient=True) as progress:
        yield _Bar(progress, progress.add_task("", total=None if total is None else total * times))


# What is shown.


def _show(done: Rehearsal, house: House, changes: Sequence[Change]) -> None:
    """One variant; of several each under its changes."""
    out = console()
    if changes:
        say(f"With {', '.join(change.text for change in changes)}:")
        say()
    out.print(_people(done, house))
    say()
    out.print(_conditions(done))
    say()
    for line in _summary(done):
        say(line)
    if done.differing:
        say()
        out.print(_differing(done, house))
    if changes:
        say()


def _people(done: Rehearsal, house: House) -> object:
    figures = ("rings", "changed", "by night", "changed ")
    made = table("person", *figures, right=figures)
    for who, (was, other) in done.people.items():
        name = house.person[who].name if who in house.person else who
        rings = (was.all, other.all, was.by_night, other.by_night)
        made.add_row(name, *(str(figure) for figure in rings))
    if not done.people:
        made.add_row("nobody", "0", "0", "0", "0")
    return made


def _conditions(done: Rehearsal) -> object:
    figures = ("incidents", "changed", "needless", "changed ")
    made = table("told as", *figures, right=figures)
    for name, told in done.conditions.items():
        needless = done.needless.get(name, (0, 0))
        made.add_row(name, *(str(figure) for figure in (*told, *needless)))
    return made


def _summary(done: Rehearsal) -> Iterator[str]:
    was, other = (sum(pair[side] for pair in done.needless.values()) for side in (0, 1))
    yield f"Called needless by the crew: {was} as it is, {other} of them with the changes."
    if done.verdicts_lost:
        lost = counted(done.verdicts_lost, "verdict")
        yield f"{lost} on rings that this version does not make, or before the time looked at."
    yield f"Real drifts told, by verdict or past their limit: {_real(done)}."


def _real(done: Rehearsal) -> str:
    if not done.real:
        return "none"
    parts = [str(len(done.real))]
    if done.later is not None:
        middle, worst = done.later
        parts.append(f"told {_apart(middle)} in the middle, {_apart(worst)} at worst")
    if done.untold:
        parts.append(f"{done.untold} not told at all with the changes")
    return "; ".join(parts)


def _apart(seconds: float) -> str:
    if abs(seconds) < 60:
        return "at the same time"
    return f"{lasting(abs(seconds))} {'later' if seconds > 0 else 'sooner'}"


def _differing(done: Rehearsal, house: House) -> object:
    made = table("day", "where", "told as", "as it is", "changed", "", "verdict")
    for pair in done.differing:
        made.add_row(
            f"{datetime.fromtimestamp(_first(pair), house.zone):%Y-%m-%d}",
            house.name_of(pair.spell.subject),
            pair.spell.condition,
            *(_when(at, count, house) for at, count in zip(pair.told, pair.rings, strict=True)),
            _difference(pair),
            pair.verdict or ("past its limit" if pair.real else ""),
        )
    return made


def _first(pair: Pair) -> float:
    return min(at for at in pair.told if at is not None)


def _when(at: float | None, rings: int, house: House) -> str:
    if at is None:
        return "-"
    times = "" if rings == 1 else f" ×{rings}"
    return f"{datetime.fromtimestamp(at, house.zone):%H:%M}{times}"


def _difference(pair: Pair) -> str:
    if pair.later is not None:
        return _apart(pair.later)
    return "not told" if pair.told[1] is None else "told too"


def _document(done: Rehearsal, house: House) -> dict[str, object]:
    zone = house.zone

    def shown(at: float | None) -> str | None:
        return None if at is None else show_time(at, zone)

    return {
        "from": shown(done.start) if math.isfinite(done.start) else None,
        "until": shown(done.end),
        "messages": done.messages,
        "people": {
            who: {
                "rings": [was.all, other.all],
                "by_night": [was.by_night, other.by_night],
            }
            for who, (was, other) in done.people.items()
        },
        "conditions": done.conditions,
        "needless": done.needless,
        "verdicts": done.verdicts,
        "verdicts_lost": done.verdicts_lost,
        "real": {
            "told": len(done.real),
            "untold": done.untold,
            "later_seconds": dict(zip(("median", "worst"), done.later, strict=True))
            if done.later
            else None,
        },
        "differing": [
            {
                "subject": pair.spell.subject,
                "condition": pair.spell.condition,
                "told": [shown(at) for at in pair.told],
                "rings": pair.rings,
                "later_seconds": pair.later,
                "verdict": pair.verdict,
                "real": pair.real,
            }
            for pair in done.differing
        ],
    }


# Invented nights.


def _score(nights: int, seed: int, as_json: bool) -> None:
    """The score card of the checkout that this is installed from."""
    if not (CHECKOUT / "tests" / "bench" / "nights.py").is_file():
        right = "run it from a checkout of the project, installed with pip install --editable"
        raise wrong("command line", "--score", "the invented nights are not installed", right)
    sys.path.insert(0, str(CHECKOUT))
    bench = importlib.import_module("tests.bench.nights")
    bench.run(nights, seed, as_json=as_json)
