"""What stands between watch and world can be another, and is the real one if nobody says."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from kuraban.clock import Clock
from kuraban.core.intake.wire import Wire
from kuraban.edges.mqtt.client import Client, Link
from kuraban.queries.phone_curves import Curves
from kuraban.runtime.outside import Outside
from kuraban.runtime.storage.outbox_failover import FailoverOutbox
from kuraban.settings import Settings, load
from kuraban.settings.model import Outward
from kuraban.store.journal import Journal
from kuraban.store.outbox import Outbox
from tests.nights import SITE


def settings(ping: str | None = None) -> Settings:
    return dataclasses.replace(load(SITE, {}), outward=Outward(ping))


def test_nobody_is_called_who_expects_no_sign_of_life() -> None:
    assert Outside().ping(settings()) is None
    assert Outside().ping(settings("https://far.example/alive")) is not None


def test_the_door_speaks_through_the_sessions_it_is_handed() -> None:
    """Two of them: the one that the broker keeps, and the one without memory."""
    made: list[tuple[str, bool]] = []

    def client(link: Link, name: str, tls: object, expiry: int) -> Client:
        made.append((name, expiry > 0))
        return Client(link, name, None, expiry)

    known = settings()
    Outside(client=client).door(known, Wire(known.house), lambda event: None)
    assert made == [("kuraban", True), ("kuraban-passing", False)]


def test_every_address_gets_a_way_of_its_own(tmp_path: Path) -> None:
    asked: list[str] = []

    class Way:
        shows = False

        def __init__(self, address: str) -> None:
            asked.append(address)

        def send(self, title: str, body: str, urgent: bool, picture: bytes | None = None) -> str:
            return ""

    known, path = settings(), tmp_path / "journal"
    Journal.open(path).close()
    rows = FailoverOutbox(Outbox(path), known.addresses, Clock())
    Outside(sender=Way, draws=lambda: False).courier(
        known, rows, lambda result: None, lambda *about: None, Curves(path)
    )
    wanted = {one for where in known.addresses.values() for one in (*where.pages, *where.notices)}
    assert set(asked) == wanted
    rows.close()
