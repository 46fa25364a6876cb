"""Invented nights as the journal of a watch that lived through them, without broker and phones."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import msgspec

from kuraban.core.effects import Message, Step
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import Fact, HouseChanged
from kuraban.core.intake.wire import Wire
from kuraban.core.site import House, to_document
from kuraban.recording import merged
from kuraban.settings import load
from kuraban.settings.catalogues import load_words
from kuraban.store.journal import Journal

ROOT = Path(__file__).parents[1]
BREWERY = ROOT / "fixtures" / "brewery"


def recording(night: str) -> Path:
    (found,) = (ROOT / "fixtures" / "nights" / night).glob("recording.jsonl*")
    return found


@cache
def house() -> House:
    return load(BREWERY / "site.toml", {}).house


def without_coolers() -> House:
    """The same house with nothing in it that is looked at by the minute: its weeks go by fast."""
    replace, whole = msgspec.structs.replace, house()
    places = tuple(replace(one, cooler=None, heater=None) for one in whole.places)
    probes = tuple(one for one in whole.probes if one.of in whole.place)
    return replace(whole, places=places, probes=probes, coolers=())


def live_through(
    night: str, journal: Path, *, share: float = 1.0, between: tuple[Fact, ...] = ()
) -> list[Step | Message]:
    """Write the night into a new journal as the watch would; what it told. `share` is how much of
    the night, `between` are facts that come in half-way."""
    words, found = load_words(), house()
    engine, wire, kept = Engine(words), Wire(found, "kura"), Journal.open(journal)
    lines = list(merged([recording(night)], lambda bad: None, lambda size: None))
    lines = lines[: int(len(lines) * share)]
    told: list[Step | Message] = []
    engine.take(HouseChanged(lines[0].at, to_document(found)))
    for number, line in enumerate(lines):
        if number == len(lines) // 2:
            for fact in between:
                engine.take(fact)
        for read in wire.read(line.topic, line.payload, line.at, line.retained):
            engine.take(read)
        if number % 200 == 0 or line is lines[-1]:
            turn = engine.drain()
            told += turn.story
            kept.commit(turn)
    kept.close()
    return told


def site_file(folder: Path, *, port: int = 1883, more: str = "") -> Path:
    """The invented brewery's site file in `folder`, its journal in `folder`/data."""
    text = (BREWERY / "site.toml").read_text("utf-8")
    text = text.replace('courses = ["courses"]', f'courses = ["{BREWERY / "courses"}"]')
    text = text.replace("port = 1883", f"port = {port}\n{more}")
    path = folder / "site.toml"
    path.write_text(text, "utf-8")
    return path
