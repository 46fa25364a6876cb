"""Each message is written once, in its reader's language, under an id of its own."""

from __future__ import annotations

from kuraban.core.effects import Message
from tests.core.house import Bell, brewing, moment

NIGHT = moment("2026-02-02T02:00")


def test_each_hears_it_in_their_own_language() -> None:
    bell = Bell(at=NIGHT)
    bell.find("bed-1", "cold")
    bell.on(10)
    assert [(page.person, page.language) for page in bell.pages()] == [
        ("aki", "en"), ("aki", "en"), ("bun", "ja"),
    ]  # fmt: skip


def test_every_message_has_an_id_of_its_own() -> None:
    bell = brewing(Bell(at=NIGHT))
    for subject in ("tank-3", "tank-4", "bed-1"):
        bell.find(subject, "warm")
    bell.on(600)
    ids = [event.id for event in bell.story if isinstance(event, Message)]
    assert len(ids) == len(set(ids)) > 10
