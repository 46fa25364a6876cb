"""The text of a first site file: complete, commented, and readable by the watch as it stands."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
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
data = {data}                   # the journal lies there, seen from this file

[mqtt]
host = {host}
port = {port}
{user}
{password}   # a file with the password in it, seen from this one

[web]
listen = "127.0.0.1:8080"       # the pages, for this machine; for phones see deploy/THREATS.md
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
# pages = ["json://push.example/a-long-secret-word"]   # an Apprise address that rings at night
#
# [[duty]]
# role = "brewer"               # brewer, maintenance or crew
# person = "aki"
# order = 1                     # 1 is told first
"""
NAMES = {"en": ("Tank {}", "Chiller {}"), "ja": ("{}号タンク", "チラー{}")}
ROLES = ("brewer", "maintenance", "crew")
_NO_ID = re.compile(r"[^a-z0-9]+")


class Told(NamedTuple):
    """One person who is told: the duty that rings them, and an Apprise address that rings."""

    name: str
    role: str
    address: str


class Answers(NamedTuple):
    """What whoever begins has said. `password` is the file that holds the broker's password, or a
    credential's name; `data` the folder of the journal, seen from the site file."""

    name: str = "Our brewery"
    zone: str = "Asia/Tokyo"
    language: str = "en"
    host: str = "127.0.0.1"
    port: int = 1883
    user: str | None = None
    password: Path | str | None = None
    data: str = "data"
    people: tuple[Told, ...] = ()
    tanks: int = 0
    chillers: int = 0


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
        data=_text(answers.data),
    )
    own = "".join(_counted(answers, {one.of for one in found}))
    body = "".join(_tables(found)) if found else "" if own else EXAMPLE
    people = "".join(_people(answers.people)) if answers.people else PEOPLE
    return f"{head}{own}{body}{people}"


def _counted(answers: Answers, heard: Collection[str]) -> Iterator[str]:
    """The tanks and chillers of the house, but those that a probe speaks of."""
    tank, chiller = NAMES.get(answers.language, NAMES["en"])
    cooled = f"cooler = {_text('chiller-1')}           # put right which cools it\n"
    for number in range(1, answers.tanks + 1):
        if f"tank-{number}" not in heard:
            name = _text(tank.format(number))
            yield f'\n[[place]]\nid = "tank-{number}"\nkind = "tank"\nname = {name}\n'
            yield cooled if answers.chillers else ""
    for number in range(1, answers.chillers + 1):
        if f"chiller-{number}" not in heard:
            name = _text(chiller.format(number))
            yield f'\n[[cooler]]\nid = "chiller-{number}"\nkind = "chilled-water"\nname = {name}\n'


def _people(people: Sequence[Told]) -> Iterator[str]:
    """Each once, under an id of their own, and their duties; who was named first is rung first."""
    ids: dict[str, str] = {}
    orders = Counter[str]()
    for one in people:
        if one.name not in ids:
            own = _NO_ID.sub("-", one.name.lower()).strip("-") or f"person-{len(ids) + 1}"
            ids[one.name] = own if own not in ids.values() else f"{own}-{len(ids) + 1}"
            at = dict.fromkeys(other.address for other in people if other.name == one.name)
            yield f'\n[[person]]\nid = "{ids[one.name]}"\nname = {_text(one.name)}\n'
            yield f"pages = [{', '.join(map(_text, at))}]\n"
        orders[one.role] += 1
        yield f'\n[[duty]]\nrole = "{one.role}"\nperson = "{ids[one.name]}"\n'
        yield f"order = {orders[one.role]}\n"


def _text(value: str) -> str:
    """A TOML text; JSON writes the same escapes."""
    return json.dumps(value, ensure_ascii=False)


def _password(source: Path | str | None) -> str:
    if source is None:
        return '# password_from = "mqtt-password"'
    return (
        f"password_from = {_text(str(source.absolute() if isinstance(source, Path) else source))}"
    )


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
