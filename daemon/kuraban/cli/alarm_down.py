"""`kuraban alarm-down`: the watch is down. Told by a unit that starts when the watch has failed.

It needs neither journal nor broker, and not even a site file without faults: it reads whatever
addresses it can and sends to all of them at once.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor, wait
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from kuraban.cli.common import Site, counted, say, tell
from kuraban.errors import ConfigurationError
from kuraban.queries.journal_state import clock
from kuraban.settings.emergency_contacts import NOBODY, Reach, Told, reach
from kuraban.settings.paths import site_file

UNTOLD = 1
WITHIN = 60.0
"""Seconds after which a service that hangs is not waited for."""
ROLES = frozenset({"brewer", "maintenance"})
WORDS = {
    "en": (
        "{site}: the watch is down",
        "{time}: nothing is watched until it runs again[why]. First: is its machine on, then "
        "`systemctl status kuraban`. Until then read the displays on a round: koji every half "
        "hour, starter every hour, tanks every three. Nobody else can be rung by the watch.",
    ),
    "ja": (
        "{site} 見張りが止まっています",
        "{time} 動き出すまで何も見張られていません[why]。まず機械の電源、次に "
        "`systemctl status kuraban`。それまでは巡回して表示を読んでください（麹30分、酛1時間、"
        "醪3時間ごと）。見張りからは誰も呼び出せません。",
    ),
}
WHY = {"en": " ({why})", "ja": "（{why}）"}


def add_to(app: typer.Typer) -> None:
    app.command(name="alarm-down", epilog='Example: kuraban alarm-down --why "watchdog"')(
        alarm_down
    )


def alarm_down(
    why: Annotated[
        str, typer.Option(metavar="TEXT", help="What is known of the cause.", show_default=False)
    ] = "",
    addresses: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Addresses, one a line, told as well: for when the site file cannot be read.",
            show_default=False,
        ),
    ] = None,
    site: Site = None,
) -> None:
    """Page people that the watch is down.

    Goes to everyone on the roles brewer and maintenance, or to all where nobody is. A site file
    with faults is read as far as it goes. The exit status is 1 where nobody could be told.
    """
    told = _told(site)
    people = [one for one in told.people if one.roles & ROLES] or list(told.people)
    people += _others(addresses)
    if not people:
        tell("nobody can be told: no address could be read")
        raise typer.Exit(UNTOLD)
    taken = _send(people, told, why)
    for person, count in taken.items():
        say(f"{person}: {counted(count, 'address', 'addresses')} took it")
    if not any(taken.values()):
        raise typer.Exit(UNTOLD)


def _told(site: Path | None) -> Told:
    try:
        return reach(site_file(site))
    except ConfigurationError as error:
        tell(str(error))
        return NOBODY


def _others(addresses: Path | None) -> list[Reach]:
    """Those of the file apart; what cannot be read there is told and stops nothing."""
    if addresses is None:
        return []
    try:
        lines = addresses.read_text("utf-8").split()
    except (OSError, UnicodeDecodeError) as error:
        tell(f"{addresses}: cannot be read ({type(error).__name__})")
        return []
    if not lines:
        return []
    return [Reach("others", "others", "en", frozenset(), 0, tuple(lines))]


def _send(people: list[Reach], about: Told, why: str) -> dict[str, int]:
    """How many addresses of each person took it. All at once: one that hangs delays no other."""
    from kuraban.edges.phones.courier import ByApprise

    local = datetime.fromtimestamp(clock(), about.zone)
    pool = ThreadPoolExecutor(max_workers=32)
    work = {}
    for one in people:
        title, body = WORDS[one.language]
        reason = WHY[one.language].format(why=why) if why else ""
        told = body.replace("{time}", f"{local:%H:%M}").replace("[why]", reason)
        title = title.replace("{site}", about.site or "kuraban")
        for address in one.pages:
            sent = pool.submit(ByApprise(address).send, title, told, True)
            work[sent] = one.name
    done, _ = wait(work, WITHIN)
    pool.shutdown(wait=False, cancel_futures=True)
    taken = dict.fromkeys((one.name for one in people), 0)
    for sent in done:
        taken[work[sent]] += not sent.exception() and sent.result() == ""
    return taken
