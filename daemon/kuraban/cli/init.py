"""`kuraban init`: a first site file, from a few answers and from what the broker says."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import typer

from kuraban.cli.common import counted, new_file, say, tell, wrong
from kuraban.core.units import ID
from kuraban.errors import BrokerError
from kuraban.queries.journal_state import clock
from kuraban.queries.setup.probe_id_parser import Guess, guesses
from kuraban.queries.setup.site_template import ROLES, Answers, Told, site_text
from kuraban.queries.setup.unknown_probes import try_address
from kuraban.settings import Mqtt
from kuraban.settings.secrets import CREDENTIAL, HELD

LISTENS = 10.0
BROKER_SECRET, STATE, USER = "mqtt", "var/lib/kuraban", "kuraban"
"""As `deploy/install` names the broker's password, the journal's folder, and the watch there."""
MOST = 99
SHAPE = "brewer:Aki=json://push.example/word"
LANGUAGES = ("en", "ja")


def add_to(app: typer.Typer) -> None:
    app.command(name="init", epilog="Example: kuraban init --out site.toml")(init)


def init(
    out: Annotated[
        Path, typer.Option(metavar="FILE", help="Where to write it; never over another file.")
    ] = Path("site.toml"),
    yes: Annotated[
        bool, typer.Option("--yes", "-y", help="Ask nothing; what is not given is as usual.")
    ] = False,
    name: Annotated[
        str | None, typer.Option(metavar="NAME", help="The brewery's.", show_default=False)
    ] = None,
    zone: Annotated[
        str | None, typer.Option(metavar="ZONE", help="Its time zone.", show_default=False)
    ] = None,
    language: Annotated[
        str | None, typer.Option(metavar="en|ja", help="Of its messages.", show_default=False)
    ] = None,
    host: Annotated[
        str | None, typer.Option(metavar="HOST", help="The broker.", show_default=False)
    ] = None,
    port: Annotated[int, typer.Option(metavar="PORT", help="Its port.", min=1, max=65535)] = 1883,
    user: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="The watch's user name there.", show_default=False),
    ] = None,
    password: Annotated[
        Path | None,
        typer.Option(
            "--password-from", metavar="FILE", help="A file with the password.", show_default=False
        ),
    ] = None,
    person: Annotated[
        list[str] | None,
        typer.Option(
            metavar="ROLE:NAME=ADDRESS",
            help=f"Who is rung and where, as {SHAPE}; may come again.",
            show_default=False,
        ),
    ] = None,
    tanks: Annotated[
        int | None, typer.Option(metavar="N", help="How many.", min=0, max=MOST, show_default=False)
    ] = None,
    chillers: Annotated[
        int | None, typer.Option(metavar="N", help="How many.", min=0, max=MOST, show_default=False)
    ] = None,
    lasts: Annotated[
        float, typer.Option("--listen", metavar="SECONDS", help="How long to listen there.", min=0)
    ] = LISTENS,
) -> None:
    """Write a first site file, to be put right by hand.

    Asks for what is not given: the brewery, its broker, tanks and chillers, and who is rung, each
    address with a test. Then it listens for probes and guesses from their ids where they hang.
    What `deploy/install` made is found by itself. Secrets will stand in the file: only its owner
    and the watch's group can read it.
    """
    asked = _Asked(yes)
    usual = Answers()
    installed = _installed(out) if user is None and password is None else usual
    answers = Answers(
        name=asked.text(name, "What is the brewery called", usual.name),
        zone=asked.text(zone, "Time zone", usual.zone, _is_zone, 'such as "Asia/Tokyo"'),
        language=asked.text(
            language, "Language of messages, en or ja", usual.language, LANGUAGES.__contains__,
            "en or ja",
        ),
        host=asked.text(host, "Broker: this machine, or the address of another", usual.host),
        port=port, user=user or installed.user, password=password or installed.password,
        data=installed.data,
    )  # fmt: skip
    answers = answers._replace(
        tanks=asked.number(tanks, "How many tanks"),
        chillers=asked.number(chillers, "How many chillers"),
        people=tuple(map(_told, person or ())) or tuple(asked.people(answers)),
    )
    with new_file(out, 0o640) as file:
        _let_the_watch_read(out)
        found = _heard(answers, out, lasts)
        file.write(site_text(answers, found))
    say(f"{out} is written, with {counted(len(found), 'probe')}. Put right what is guessed, then:")
    say(f"  kuraban check --site {out}")


def _installed(out: Path) -> Answers:
    """What the installer made around the file that is to be written."""
    etc, found = out.absolute().parent, Answers()
    if (etc / HELD / BROKER_SECRET).is_file():
        secret = f"{CREDENTIAL}{HELD}_{BROKER_SECRET}"
        found = found._replace(user=USER, password=secret)
    state = etc.parent.parent / STATE
    return found._replace(data=str(state)) if state.is_dir() and etc.name == USER else found


def _let_the_watch_read(out: Path) -> None:
    """What root writes, the user that the watch runs as must be able to read."""
    if os.geteuid() == 0:
        with suppress(LookupError, OSError):
            shutil.chown(out, group=USER)


class _Asked:
    """Answers of whoever sits there, or the usual ones where nothing is to be asked."""

    def __init__(self, yes: bool) -> None:
        self._yes = yes

    def text(
        self, given: str | None, question: str, usual: str,
        fits: Callable[[str], bool] = bool, right: str = "write something",
    ) -> str:  # fmt: skip
        answer = given
        while answer is None or not fits(answer):
            if answer is not None:
                if given is not None:
                    raise wrong("command line", question, f'"{answer}" is not known', right)
                say(f'"{answer}" is not known; write one, {right}')
            answer = usual if self._yes else str(typer.prompt(question, default=usual)).strip()
        return answer

    def number(self, given: int | None, question: str) -> int:
        if given is not None or self._yes:
            return given or 0
        answer = self.text(None, question, "0", _is_number, f"a whole number up to {MOST}")
        return int(answer)

    def people(self, answers: Answers) -> Iterator[Told]:
        """Those of each role in the order in which they are rung, their addresses tried."""
        for role in () if self._yes else ROLES:
            more = f"Who is rung as {role}; nobody further: just Enter"
            while name := str(typer.prompt(more, default="", show_default=False)).strip():
                address = self.text(
                    None, f"{name}'s phone, as an address of Apprise", "", _is_address,
                    "such as json://push.example/word",
                )  # fmt: skip
                if typer.confirm("Send a test there now?", default=True):
                    now = datetime.fromtimestamp(clock(), ZoneInfo(answers.zone))
                    say(try_address(address, answers.language, now) or "It was taken.")
                yield Told(name, role, address)


def _is_zone(text: str) -> bool:
    try:
        ZoneInfo(text)
    except (KeyError, ValueError, OSError):
        return False
    return True


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdecimal() and int(text) <= MOST


def _is_address(text: str) -> bool:
    return "://" in text


def _told(given: str) -> Told:
    """One `--person`."""
    role, _, rest = given.partition(":")
    name, _, address = rest.partition("=")
    if role not in ROLES or not name.strip() or not _is_address(address):
        right = f"write a role ({', '.join(ROLES)}), a name and an address, as {SHAPE}"
        raise wrong("command line", "--person", f'"{given}" names nobody to ring', right)
    return Told(name.strip(), role, address.strip())


def _read(source: Path | str, out: Path) -> str:
    path = source if isinstance(source, Path) else out.absolute().parent / HELD / BROKER_SECRET
    try:
        return path.read_text("utf-8").strip("\r\n")
    except (OSError, UnicodeDecodeError):
        right = "name a file with the password in it"
        raise wrong(str(path), "--password-from", "cannot be read", right) from None


def _heard(answers: Answers, out: Path, lasts: float) -> list[Guess]:
    """The probes that spoke meanwhile; none where the broker is not reached."""
    from kuraban.edges.mqtt.oneshot import listen

    probes: set[str] = set()
    password = None if answers.password is None else _read(answers.password, out)
    link = Mqtt(host=answers.host, port=answers.port, user=answers.user, password=password)
    tell(f"Listening for probes, {lasts:g} s …")

    def take(topic: str, _payload: bytes, _kept: bool) -> None:
        probes.add(topic.rpartition("/")[2])

    try:
        listen(link, (f"{link.root}/reading/+",), take, lasts=lasts, told=lambda line: None)
    except BrokerError as error:
        tell(f"No probe was heard: {error}")
    return guesses(probe for probe in probes if ID.fullmatch(probe))
