"""What fails of the watch itself is told once when it fails and once when it is well again."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from kuraban.core.facts import Delivered, Fact, Impaired
from kuraban.edges.mqtt.link_report import LinkEvent
from kuraban.runtime.health import Health

Noted = list[Fact]


@pytest.fixture
def noted() -> Noted:
    return []


@pytest.fixture
def parts(noted: Noted) -> Iterator[Health]:
    yield Health(noted.append, lambda: 100.0)


def told(noted: Noted) -> list[tuple[str, bool]]:
    return [(fact.part, fact.holds) for fact in noted if isinstance(fact, Impaired)]


def sent(person: str, well: bool) -> Delivered:
    return Delivered("row", person, 0.0, 0.0, well, 1, "" if well else "no answer")


def test_a_broker_that_is_lost_again_and_again_is_told_once(parts: Health, noted: Noted) -> None:
    for kind in ("lost", "refused", "lost", "connected", "connected"):
        parts.on_link(LinkEvent(kind, 0.0, "127.0.0.1:1883"))  # type: ignore[arg-type]
    assert told(noted) == [("broker", True), ("broker", False)]


def test_messages_fail_while_anybody_cannot_be_reached(parts: Health, noted: Noted) -> None:
    """The last one who can be reached again ends it."""
    for person, well in (("aki", False), ("ken", False), ("aki", True), ("ken", True)):
        parts.reached(sent(person, well))
    assert told(noted) == [("pages", True), ("pages", False)]
    assert parts.all_reached


def test_what_stood_impaired_at_the_end_stays_so_until_it_shows_itself_well(
    parts: Health, noted: Noted
) -> None:
    """The journal was opened, so it is well; a history that is no longer forwarded to is nobody's
    trouble; a watch that was behind begins anew; messages and the broker must show it."""
    stood = {"broker-lost", "pages-failing", "journal-failing", "history-behind", "behind"}
    parts.recall(stood, False)
    assert told(noted) == [("journal", False), ("history", False), ("intake", False)]
    assert not parts.all_reached
    parts.reached(sent("aki", True))
    parts.on_link(LinkEvent("connected", 0.0, "127.0.0.1:1883"))
    assert told(noted)[3:] == [("pages", False), ("broker", False)]


def test_a_result_is_known_at_the_watch_s_own_time(parts: Health, noted: Noted) -> None:
    parts.delivered(sent("aki", True))
    assert [(fact.at, fact.received) for fact in noted if isinstance(fact, Delivered)] == [
        (100.0, 100.0)
    ]
