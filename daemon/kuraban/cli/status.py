"""`kuraban status`: what is watched now, what is not and why, and how the watch itself does."""

from __future__ import annotations

import json
from typing import Annotated

import msgspec
import typer
from rich.console import Console
from rich.text import Text

from kuraban.cli.common import Site, console, counted, dated, lasting, say, say_json, table, watched
from kuraban.core.site import SIGNALS
from kuraban.core.texts.translator import Speech, figure
from kuraban.core.timescale import moment_of
from kuraban.errors import BrokerError, JournalError
from kuraban.queries.journal_state import clock, looking
from kuraban.queries.status import HistoryNow, PlaceNow, ProbeNow, Standing, Status, status
from kuraban.settings import Settings
from kuraban.settings.paths import journal_of

ARROWS = {"up": "↗", "down": "↘", "level": "→", None: " "}
WARM, COLD, NOTICE, SICK = "red", "cyan", "yellow", "dim"
NARROW = 90
"""Columns below which a place takes two lines instead of a row."""
STILL = 120.0
"""A watch whose last turn is older than this, seconds, is asked about."""


def add_to(app: typer.Typer) -> None:
    app.command(name="status", epilog="Example: kuraban status --site site.toml")(show)


def show(
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, for a script.")] = False,
    site: Site = None,
) -> None:
    """What is watched now, what is not, and how the watch does.

    Standing alarms first, then places, what is not judged and why, probes, and the watch. Reads the
    journal beside the watch that runs and changes nothing.
    """
    settings, words = watched(site, secrets=True)
    path = journal_of(settings)
    zone = settings.house.zone
    now = moment_of(clock(), zone)
    with looking(path, words, now) as state:
        if not state.engine.started:
            raise JournalError(f"{path}: nothing is in it yet; start the watch with `kuraban run`")
        found = status(state, path, words, settings.history, settings.folder)
    broker = _broker(settings)
    if as_json:
        told = {**dated(msgspec.to_builtins(found), zone), "broker": broker}
        say_json(told)
        return
    speech = Speech(words, "en", zone, now)
    _screen(found, broker, speech, console())


def _broker(settings: Settings) -> str:
    """What the broker says of the watch, or why it cannot be asked."""
    from kuraban.edges.mqtt.oneshot import kept

    try:
        told = kept(settings.mqtt, f"{settings.mqtt.root}/watch/status", 1.5)
    except BrokerError as error:
        return str(error)
    try:
        word = json.loads(told or b"{}").get("status", "nothing")
    except (ValueError, AttributeError):
        word = "something unreadable"
    return f"{settings.mqtt.host}:{settings.mqtt.port} reached; of the watch it says: {word}"


def _screen(found: Status, broker: str, speech: Speech, out: Console) -> None:
    say(f"{found.site}, {speech.date(found.asked)} {speech.clock(found.asked)}")
    _alarms(found, speech, out)
    _places(found, speech, out)
    _unjudged(found, speech)
    _probes(found, out, speech)
    _watch(found, broker, speech)


def _alarms(found: Status, speech: Speech, out: Console) -> None:
    if not found.standing:
        say("\nNo alarm stands.")
        return
    say("\nAlarms")
    for alarm in found.standing:
        line = Text("  ").append("◼ " if alarm.state == "unacknowledged" else "◻ ")
        line.append(alarm.title, style=_side(alarm.condition)).append(f"; {_hand(alarm, speech)}")
        out.print(line)


def _side(condition: str) -> str:
    if "warm" in condition:
        return f"bold {WARM}"
    return f"bold {COLD}" if "cold" in condition else "bold"


def _hand(alarm: Standing, speech: Speech) -> str:
    """Who has it, or what became of it."""
    moment = speech.clock(alarm.since)
    since = f" since {moment}" if moment and f"since {moment}" not in alarm.title else ""
    until = speech.clock(alarm.until)
    match alarm.state:
        case "acknowledged":
            return f"{alarm.by} has it" + (f", right by {until}" if until else "")
        case "returned":
            return "over, nobody answered"
        case "shelved":
            why = f" ({alarm.reason})" if alarm.reason else ""
            over = "it is over, at the latest " if alarm.once else ""
            return f"quiet until {over}{until}{why}"
        case "suppressed":
            return "held back, something larger explains it"
        case "out-of-service":
            return "not watched, out of service"
        case _:
            return f"nobody has it yet{since}"


def _places(found: Status, speech: Speech, out: Console) -> None:
    if not found.judged:
        say("\nNothing is judged now.")
        return
    say("\nJudged")
    if out.width < NARROW:
        for place in found.judged:
            out.print(_in_lines(found, place, speech))
        return
    made = table("", "now", "plan", "", "", "", "", right=("now", "plan"))
    for place in found.judged:
        made.add_row(
            f"  {place.name}",
            _now(place),
            _plan(place),
            _difference(place),
            _rate(place),
            _where(place),
            _age(found, place, speech),
        )
    out.print(made)


def _in_lines(found: Status, place: PlaceNow, speech: Speech) -> Text:
    """The same for a narrow window."""
    against = "plan" if place.band is None else "band"
    text = Text(f"  {place.name}: {_now(place)} °C ({against} {_plan(place)}) ")
    text.append(_difference(place)).append(f" {_rate(place)}")
    further = ", ".join(filter(None, (_where(place), _age(found, place, speech))))
    return text.append(f"\n    {further}")


def _now(place: PlaceNow) -> str:
    return "?" if place.product is None else figure(place.product)


def _rate(place: PlaceNow) -> str:
    return f"{ARROWS[place.going]} {figure(place.rate, 2, True)}/h" if place.rate else ""


def _plan(place: PlaceNow) -> str:
    if place.planned is not None:
        return figure(place.planned)
    return "–".join(figure(edge) for edge in place.band) if place.band else ""


def _difference(place: PlaceNow) -> Text:
    style = WARM if "warm" in place.word else COLD if "cold" in place.word else ""
    sign = "▲" if "warm" in place.word else "▼" if "cold" in place.word else " "
    apart = figure(place.difference, 1, True) if place.difference and place.planned else ""
    return Text(" ".join(filter(None, (sign.strip(), apart, place.word))), style=style)


def _where(place: PlaceNow) -> str:
    """The batch, its day or hour, and its stage."""
    if place.batch is None:
        return ""
    day = "" if place.day is None else f" day {place.day}"
    hour = f" hour {place.hours:.0f}" if place.hours is not None and not day else ""
    return f"{place.batch}{day or hour}, {place.stage}"


def _age(found: Status, place: PlaceNow, speech: Speech) -> str:
    if place.held is not None:
        why = speech.say(f"why.{place.held}")
        return f"not judged until {speech.clock(place.held_until)}: {why}"
    return "" if place.at is None else f"{lasting(found.asked - place.at)} ago"


def _unjudged(found: Status, speech: Speech) -> None:
    reasons: dict[str, list[str]] = {}
    for place in found.not_judged:
        reasons.setdefault(speech.say(f"why.{place.why}") or place.why, []).append(place.name)
    if reasons:
        say("\nNot judged")
    for why, names in reasons.items():
        say(f"  {why}: {', '.join(names)}")


def _probes(found: Status, out: Console, speech: Speech) -> None:
    """The sick ones first, a line each; then the well by where they are; then those never heard."""
    say("\nProbes")
    names = {place.id: place.name for place in found.judged}
    names |= {place.id: place.name for place in found.not_judged}
    sick = [probe for probe in found.probes if probe.trouble and probe.at is not None]
    for probe in sick:
        words = ", ".join(speech.say(f"{word}.name") or word for word in probe.trouble)
        line = f"  ○ {probe.id} ({names.get(probe.of, probe.of)}): {words}; {_last(found, probe)}"
        out.print(Text(line, style=SICK))
    well = [probe for probe in found.probes if probe not in sick and probe.at is not None]
    made = table("", "")
    for of in dict.fromkeys(probe.of for probe in well):
        spoken = [f"{p.id} {_last(found, p)}" for p in well if p.of == of]
        made.add_row(f"  {names.get(of, of)}", ", ".join(spoken))
    made.show_header = False
    out.print(made)
    never = [probe.id for probe in found.probes if probe.at is None and not probe.refused]
    if never:
        out.print(Text(f"  never heard: {', '.join(never)}", style=SICK))
    for probe in found.probes:
        if probe.refused:
            many = counted(probe.refused, "message")
            heard = "" if probe.at is not None else "nothing but "
            say(f"  ○ {probe.id}: {heard}{many} refused, the last one: {probe.last_refusal}")


def _last(found: Status, probe: ProbeNow) -> str:
    return f"{_reads(probe)} {lasting(found.asked - (probe.at or 0.0))} ago"


def _reads(probe: ProbeNow) -> str:
    if probe.value is None:
        return ""
    if probe.measures in SIGNALS:
        return "on" if probe.value else "off"
    unit = {"humidity": "%", "power": "W"}.get(probe.measures, "°C")
    return f"{figure(probe.value, 0 if unit == 'W' else 1)} {unit}"


def _watch(found: Status, broker: str, speech: Speech) -> None:
    say("\nThe watch itself")
    for condition, since in found.impaired.items():
        say(f"  {speech.say(f'{condition}.name')} since {speech.clock(since)}")
    say(f"  broker   {broker}")
    journal = found.journal
    size = f"{journal.bytes / 1e6:.1f} MB"
    say(f"  journal  {journal.path}, {size}, {_turned(found)}")
    if journal.conflicts:
        say(f"           {counted(journal.conflicts, 'reading')} told a second value for a moment")
    if journal.unknown_topics:
        say(f"           {counted(journal.unknown_topics, 'message')} came on topics of no probe")
    courier = found.courier
    failed = ""
    if courier.failed is not None:
        failed = f"; last failure {speech.clock(courier.failed_at)}, {courier.failed}"
    say(f"  courier  {counted(courier.waiting, 'message waits', 'messages wait')}{failed}")
    for receiver in (found.history, found.folder):
        if receiver is not None:
            _history(found, receiver)


def _history(found: Status, history: HistoryNow) -> None:
    """How far the long history is behind, and what it would not take."""
    behind = "nothing waits"
    if history.oldest is not None:
        many = counted(history.waiting, "row waits", "rows wait")
        behind = f"{many}, the first came {lasting(found.asked - history.oldest)} ago"
    say(f"  history  {history.url}, {behind}")
    if history.set_aside:
        many = counted(history.set_aside, "point was", "points were")
        say(f"           {many} refused and set aside, the last: {history.reason}")


def _turned(found: Status) -> str:
    if found.journal.last_turn is None:
        return "never written"
    age = found.asked - found.journal.last_turn
    doubt = "; is the watch running?" if age > STILL else ""
    return f"last written {lasting(age)} ago{doubt}"
