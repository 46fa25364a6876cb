"""The text of a first site file: complete, commented, and readable by the watch as it stands."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator
from pathlib import Path
from typing import NamedTuple

from kuraban.queries.setup.probe_id_parser import Guess

HEAD = """\
# The site file of the watch. Put right what is guessed, then: kuraban check --site THIS-FILE

[site]
name = {name}
timezone = {zone}
language = {language}                 # "ja" or "en"; a person may have their own
day_starts = "06:00"            # the brewery day turns here, not at midnight
duty_hours = ["06:00", "21:00"] # duty notices go out between these
evening = "20:30"               # the last look while a valve can still be turned
data = "data"                   # the journal lies there, seen from this file

[mqtt]
host = {host}
port = {port}
{user}
{password}   # a file with the password in it, seen from this one
"""
EXAMPLE = """
# No probe was heard. This is how a tank, what cools it, and its probe are written:
#
# [[place]]
# id = "tank-1"
# kind = "tank"                 # tank starter koji-bed room cold-store water
# name = "Tank 1"
# cooler = "chiller-1"
#
# [[cooler]]
# id = "chiller-1"
# kind = "chilled-water"        # chilled-water cold-room built-in heater
# name = "Chiller 1"
#
# [[probe]]
# id = "t1-mid"                 # speaks on kura/reading/t1-mid
# of = "tank-1"
# measures = "product"          # product air wet-bulb humidity supply return power running ...
"""
PEOPLE = """
# --- who is told: without people nobody is woken -------------------------------
#
# [[person]]
# id = "aki"
# name = "Aki"
# pages = ["ntfys://ntfy.example/a-long-secret-word"]   # an Apprise address that rings at night
#
# [[duty]]
# role = "brewer"               # brewer, maintenance or crew
# person = "aki"
# order = 1                     # 1 is told first
"""


class Answers(NamedTuple):
    """What whoever begins has said; `password` is the file that holds the broker's password."""

    name: str = "Our brewery"
    zone: str = "Asia/Tokyo"
    language: str = "en"
    host: str = "127.0.0.1"
    port: int = 1883
    user: str | None = None
    password: Path | None = None


def site_text(answers: Answers, found: list[Guess]) -> str:
    """The whole file."""
    head = HEAD.format(
        name=_text(answers.name),
        zone=_text(answers.zone),
        language=_text(answers.language),
        host=_text(answers.host),
        port=answers.port,
        user=f"user = {_text(answers.user)}" if answers.user else '# user = "kuraban"',
        password=_password(answers.password),
    )
    body = "".join(_tables(found)) if found else EXAMPLE
    return f"{head}{body}{PEOPLE}"


def _text(value: str) -> str:
    """A TOML text; JSON writes the same escapes."""
    return json.dumps(value, ensure_ascii=False)


def _password(file: Path | None) -> str:
    if file is None:
        return '# password_from = "mqtt-password"'
    return f"password_from = {_text(str(file.absolute()))}"


def tables_text(found: list[Guess], known: Collection[str]) -> str:
    """The tables of some probes, and of what they hang on where the house does not know it."""
    return "".join(_tables(found, known)).strip("\n") + "\n"


def _tables(found: list[Guess], known: Collection[str] = ()) -> Iterator[str]:
    new = [one for one in {one.of: one for one in found}.values() if one.of not in known]
    if new:
        yield "\n# --- places and coolers, guessed from the probes' ids -------------------------\n"
    for subject in new:
        yield _subject(subject)
    yield "\n# --- probes as heard; what they hang on and measure is guessed ----------------\n"
    for one in found:
        yield (
            f"\n[[probe]]\nid = {_text(one.probe)}\nof = {_text(one.of)}\n"
            f'measures = "{one.measures}"\n'
        )


def _subject(one: Guess) -> str:
    table = "cooler" if one.cooler else "place"
    text = f'\n[[{table}]]\nid = {_text(one.of)}\nkind = "{one.kind}"\nname = {_text(one.name)}\n'
    if one.kind in ("cold-store", "water"):
        text += "# band = [1.0, 8.0]           # °C; without a band it is not judged\n"
    if one.kind in ("tank", "starter"):
        text += '# room = "cellar"             # where it stands\n'
        text += '# cooler = "chiller-1"        # what cools it\n'
    return text
