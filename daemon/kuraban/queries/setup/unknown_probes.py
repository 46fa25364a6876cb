"""What helps whoever sets a house up: the lines of a probe that nobody knows, a message to a phone.

A message to a phone goes the way that a page goes at night. Addresses are told by their number in
the site file, pages first, and never shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

from kuraban.core.site import Person
from kuraban.settings import Settings

WORDS = {
    "en": ("A test of the watch", "{time}: nothing is wrong. Whoever reads this can be woken."),
    "ja": ("見張りの試し", "{time} 異常なし。これが読めれば、夜中も呼び出せます。"),
}


class Tried(NamedTuple):
    """One address of a person; `reason` why it did not take the message, empty where it did."""

    number: int
    rings: bool
    reason: str


def send_test(settings: Settings, person: Person, now: float) -> list[Tried]:
    """A real message to every address of a person; empty where none is given."""
    where, tried = settings.addresses[person.id], []
    local = datetime.fromtimestamp(now, settings.house.zone)
    for number, address in enumerate(dict.fromkeys((*where.pages, *where.notices)), 1):
        rings = address in where.pages
        tried.append(Tried(number, rings, try_address(address, person.language, local, rings)))
    return tried


def try_address(address: str, language: str, now: datetime, rings: bool = True) -> str:
    """A real message there; why it was not taken, empty where it was."""
    from kuraban.edges.phones.courier import ByApprise

    title, body = WORDS.get(language, WORDS["en"])
    return ByApprise(address).send(title, body.format(time=f"{now:%H:%M}"), rings)


class SettingUp:
    """The same for the pages of one house. What guesses is read in when it is first asked."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings

    def lines(self, probes: Sequence[str]) -> str:
        """The site file's lines for probes that it lacks, guessed from their ids."""
        from kuraban.queries.setup.probe_id_parser import guesses
        from kuraban.queries.setup.site_template import tables_text

        house = self._settings.house
        return tables_text(guesses(probes), {*house.place, *house.cooler})

    def first_file(self, name: str, zone: str, language: str, probes: Sequence[str]) -> str:
        """A whole first site file, with the broker of this one."""
        from kuraban.queries.setup.probe_id_parser import guesses
        from kuraban.queries.setup.site_template import Answers, site_text

        link = self._settings.mqtt
        answers = Answers(name, zone, language, link.host, link.port, link.user)
        return site_text(answers, guesses(probes))

    def test(self, person: str, now: float) -> list[Tried]:
        """A message to a person of the house; KeyError for nobody."""
        return send_test(self._settings, self._settings.house.person[person], now)
