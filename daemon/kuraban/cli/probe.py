"""`kuraban probe`: an invented tank speaks to one's own broker, to practise before the season."""

from __future__ import annotations

import math
import signal
import time
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Annotated, get_args
from uuid import uuid4

import msgspec
import typer

from kuraban.cli.common import Site, counted, say, suggestion, tell, watched, wrong
from kuraban.cli.completion import courses, subjects
from kuraban.cli.moments import length
from kuraban.core.planned_curve import Course
from kuraban.core.site import House
from kuraban.core.texts.translator import Words
from kuraban.core.units import DAY, MINUTE
from kuraban.errors import BrokerError
from kuraban.queries.journal_state import clock, looking
from kuraban.queries.setup.practice_probe import NAME, Fault, PracticeProbe, longest_stage
from kuraban.settings import Mqtt, Settings
from kuraban.settings.paths import journal_of

WELL = 30 * MINUTE
"""For so long all is well before the fault."""
BEFORE = DAY
"""The stage began so long before the first reading: it has settled."""


def add_to(app: typer.Typer) -> None:
    example = "Example: kuraban probe tank-6 --user t6-mid --password-from t6-mid.word"
    app.command(name="probe", epilog=example)(probe)


def probe(
    subject: Annotated[
        str,
        typer.Argument(
            metavar="PLACE|PROBE", help="An empty tank, or one of its probes.",
            autocompletion=subjects,
        ),
    ],
    course: Annotated[
        str, typer.Option(metavar="ID", help="What it is planned to do.", autocompletion=courses)
    ] = "moromi-slow-33",
    stage: Annotated[
        str | None,
        typer.Option(metavar="ID", help="In which stage, else the longest.", show_default=False),
    ] = None,
    fault: Annotated[
        str, typer.Option(metavar="FAULT", help=f"What goes wrong: {', '.join(get_args(Fault))}.")
    ] = "stalls",
    already: Annotated[
        str, typer.Option(metavar="TIME", help="So much of it is past, and told at once.")
    ] = "4h",
    lasts: Annotated[
        str | None,
        typer.Option("--for", metavar="TIME", help="End after so long.", show_default=False),
    ] = None,
    user: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="The probe's at the broker, else that of the site file.",
            show_default=False,
        ),
    ] = None,
    password: Annotated[
        Path | None,
        typer.Option(
            "--password-from", metavar="FILE", help="A file with its password.", show_default=False
        ),
    ] = None,
    although: Annotated[
        bool,
        typer.Option("--although-batches-run", help="Practise while batches run elsewhere."),
    ] = False,
    site: Site = None,
) -> None:  # fmt: skip
    """Let an invented tank go wrong, to train the crew and see a real alarm.

    It begins a batch "Practice", publishes its product with noise and a fault that begins half an
    hour in, and ends the batch when it is asked to stop. The hours of --already are told at once,
    so that it rings soon; after that it goes on at life's pace. Phones ring in earnest: say so to
    those on duty. Refused where a batch runs.
    """
    settings, words = watched(site, secrets=True)
    place, probes = _where(settings.house, subject)
    plan = _course(settings.house, course, stage)
    if fault not in get_args(Fault):
        right = f"there are {', '.join(get_args(Fault))}"
        raise wrong("command line", "--fault", f'there is no fault "{fault}"', right)
    word = None if password is None else _word(password)
    _refuse_where_batches_run(settings, words, place, although)
    past, now = length(already, "--already"), clock()
    stage_id = stage or longest_stage(plan)
    product = PracticeProbe(
        settings.house, plan, stage_id, now - past - BEFORE, fault,  # type: ignore[arg-type]
        now - past + WELL,
    )  # fmt: skip
    speaks = settings.mqtt if user is None else replace(settings.mqtt, user=user, password=word)
    session = _Session(settings, place, probes, product, speaks)
    started = {"batch": NAME, "course": course, "stage": stage_id, "since": now - past - BEFORE}
    session.log({"entry": "batch-start", **started})
    _stop_when_asked()
    try:
        with suppress(KeyboardInterrupt):
            session.publish_past(now - past, now)
            say(f"{place}: {NAME} on {course} runs; its product {fault}. Ctrl-C ends it.")
            session.go_on(None if lasts is None else length(lasts, "--for"))
    finally:
        session.log({"entry": "batch-end"})
        say(session.account())


def _where(house: House, subject: str) -> tuple[str, dict[str, float]]:
    """The place, and its probes with the seconds between two of their readings."""
    if subject in house.probe and house.probe[subject].measures == "product":
        own = house.probe[subject]
        return own.of, {own.id: own.every}
    found = house.probes_of(subject, "product") if subject in house.place else ()
    if not found or not house.place[subject].brews:
        able = [one.id for one in house.places if one.brews and house.probes_of(one.id, "product")]
        wrong_one = f'"{subject}" is no place with a probe in its product'
        raise wrong("command line", "PLACE", wrong_one, suggestion(subject, able))
    return subject, {one.id: one.every for one in found}


def _course(house: House, course: str, stage: str | None) -> Course:
    if course not in house.course:
        right = suggestion(course, [*house.course])
        raise wrong("command line", "--course", f'there is no course "{course}"', right)
    found = house.course[course]
    if stage is not None and found.index(stage) is None:
        right = suggestion(stage, [one.id for one in found.stages])
        raise wrong("command line", "--stage", f'{course} has no stage "{stage}"', right)
    return found


def _word(path: Path) -> str:
    try:
        return path.read_text("utf-8").strip()
    except (OSError, UnicodeDecodeError):
        right = "name a file with the probe's password in it"
        raise wrong(str(path), "--password-from", "cannot be read", right) from None


def _refuse_where_batches_run(settings: Settings, words: Words, place: str, although: bool) -> None:
    if not journal_of(settings).is_file():
        return
    with looking(journal_of(settings), words, clock()) as state:
        view, now = state.engine.view, state.last_turn or 0.0
        running = [one.id for one in settings.house.places if view.batch(one.id, now)]
    if place in running:
        right = "choose an empty tank: invented values would stand in its record"
        raise wrong("command line", "PLACE", f"a batch runs in {place}", right)
    if running and not although:
        right = "wait for the end of the season, or add --although-batches-run"
        raise wrong("command line", "PLACE", f"batches run in {', '.join(running)}", right)


def _stop_when_asked() -> None:
    """SIGTERM ends it as Ctrl-C does."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, signal.default_int_handler)


class _Session:
    """What is said to the broker, and how much of it was taken."""

    def __init__(
        self, settings: Settings, place: str, probes: dict[str, float], product: PracticeProbe,
        speaks: Mqtt,
    ) -> None:  # fmt: skip
        self._link, self._root, self._speaks = settings.mqtt, settings.mqtt.root, speaks
        self._place, self._probes, self._product = place, tuple(probes), product
        self._every = min(probes.values())
        self._told = dict.fromkeys(probes, 0)
        self._value: float | None = None

    def log(self, fields: dict[str, object]) -> None:
        from kuraban.edges.mqtt.oneshot import publish

        told = msgspec.json.encode({**fields, "id": str(uuid4()), "at": clock()})
        if not publish(self._link, f"{self._root}/log/{self._place}", told):
            tell("The broker has it, but nobody listens there: is the watch running?")

    def publish_past(self, start: float, end: float) -> None:
        """All of it at once, as a board does after an outage."""
        count = int((end - start) // self._every)
        self._say([start + number * self._every for number in range(count)])

    def go_on(self, lasts: float | None) -> None:
        """At life's pace; a broker that is away is told of, and tried again at the next reading."""
        begun = time.monotonic()
        while lasts is None or time.monotonic() - begun < lasts:
            try:
                self._say([clock()])
            except BrokerError as error:
                tell(str(error))
            left = math.inf if lasts is None else begun + lasts - time.monotonic()
            time.sleep(max(min(self._every, left), 0.0))

    def _say(self, times: list[float]) -> None:
        from kuraban.edges.mqtt.oneshot import publish

        values = [(at, self._product.reading(at)) for at in times]
        told = [{"value": value, "at": at} for at, value in values if value is not None]
        for probe in self._probes if told else ():
            payload = msgspec.json.encode(told if len(told) > 1 else told[0])
            publish(self._speaks, f"{self._root}/reading/{probe}", payload)
            self._told[probe] += len(told)
        self._value = values[-1][1] if values else self._value

    def account(self) -> str:
        counts = [f"{counted(count, 'reading')} of {probe}" for probe, count in self._told.items()]
        last = "silent at the end" if self._value is None else f"{self._value:.1f} °C at the end"
        return f"Published {', '.join(counts)}, {last}; the batch {NAME} is ended."
