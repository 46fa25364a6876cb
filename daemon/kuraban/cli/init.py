"""`kuraban init`: a first site file, from a few answers and from what the broker says."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import typer

from kuraban.cli.common import counted, new_file, say, tell, wrong
from kuraban.core.units import ID
from kuraban.errors import BrokerError
from kuraban.queries.setup.probe_id_parser import Guess, guesses
from kuraban.queries.setup.site_template import Answers, site_text
from kuraban.settings import Mqtt

LISTENS = 10.0


def add_to(app: typer.Typer) -> None:
    app.command(name="init", epilog="Example: kuraban init --out site.toml")(init)


def init(
    out: Annotated[
        Path, typer.Option(metavar="FILE", help="Where to write it; never over another file.")
    ] = Path("site.toml"),
    yes: Annotated[
        bool, typer.Option("--yes", "-y", help="Ask nothing and take what is usual.")
    ] = False,
    host: Annotated[
        str | None, typer.Option(metavar="HOST", help="The broker.", show_default=False)
    ] = None,
    port: Annotated[int, typer.Option(metavar="PORT", help="Its port.", min=1, max=65535)] = 1883,
    user: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="The watch's user name at the broker.", show_default=False
        ),
    ] = None,
    password: Annotated[
        Path | None,
        typer.Option(
            "--password-from", metavar="FILE", help="A file with the password.", show_default=False
        ),
    ] = None,
    lasts: Annotated[
        float, typer.Option("--listen", metavar="SECONDS", help="How long to listen there.", min=0)
    ] = LISTENS,
) -> None:
    """Write a first site file, to be put right by hand.

    Asks for the brewery's name, time zone, language and broker, then listens for probes and guesses
    from their ids where they hang. Secrets will stand in it: only its owner and the watch's group
    can read it.
    """
    answers = Answers(host=host or Answers().host) if yes else _asked(host)
    answers = answers._replace(port=port, user=user, password=password)
    with new_file(out, 0o640) as file:
        _let_the_watch_read(out)
        found = _heard(answers, lasts)
        file.write(site_text(answers, found))
    say(f"{out} is written, with {counted(len(found), 'probe')}. Put right what is guessed, then:")
    say(f"  kuraban check --site {out}")


def _let_the_watch_read(out: Path) -> None:
    """What root writes, the user that the watch runs as must be able to read."""
    if os.geteuid() == 0:
        with suppress(LookupError, OSError):
            shutil.chown(out, group="kuraban")


def _asked(host: str | None) -> Answers:
    usual = Answers()
    name = typer.prompt("What is the brewery called", default=usual.name)
    zone = _prompt_until("Time zone", usual.zone, _is_zone, 'write one such as "Asia/Tokyo"')
    language = _prompt_until(
        "Language of messages, ja or en", usual.language, {"ja", "en"}.__contains__, "ja or en"
    )
    return Answers(name, zone, language, host or typer.prompt("Broker", default=usual.host))


def _prompt_until(question: str, usual: str, fits: Callable[[str], bool], right: str) -> str:
    while True:
        answer = str(typer.prompt(question, default=usual)).strip()
        if fits(answer):
            return answer
        say(f'"{answer}" is not known; {right}')


def _is_zone(text: str) -> bool:
    try:
        ZoneInfo(text)
    except (KeyError, ValueError, OSError):
        return False
    return True


def _read(password: Path) -> str:
    try:
        return password.read_text("utf-8").strip("\r\n")
    except (OSError, UnicodeDecodeError):
        right = "name a file with the password in it"
        raise wrong(str(password), "--password-from", "cannot be read", right) from None


def _heard(answers: Answers, lasts: float) -> list[Guess]:
    """The probes that spoke meanwhile; none where the broker is not reached."""
    from kuraban.edges.mqtt.oneshot import listen

    probes: set[str] = set()
    password = None if answers.password is None else _read(answers.password)
    link = Mqtt(host=answers.host, port=answers.port, user=answers.user, password=password)
    tell(f"Listening for probes, {lasts:g} s …")

    def take(topic: str, _payload: bytes, _kept: bool) -> None:
        probes.add(topic.rpartition("/")[2])

    try:
        listen(link, (f"{link.root}/reading/+",), take, lasts=lasts, told=lambda line: None)
    except BrokerError as error:
        tell(f"No probe was heard: {error}")
    return guesses(probe for probe in probes if ID.fullmatch(probe))
