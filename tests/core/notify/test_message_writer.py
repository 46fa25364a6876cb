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
    """When the watch began, and the number of the message since then."""
    bell = brewing(Bell(at=NIGHT))
    for subject in ("tank-3", "tank-4", "bed-1"):
        bell.find(subject, "warm")
    bell.on(600)
    ids = [event.id.split("-") for event in bell.story if isinstance(event, Message)]
    assert {watch for watch, _ in ids} == {f"{int(NIGHT):x}"} and len(ids) > 10
    assert [int(number) for _, number in ids] == list(range(1, len(ids) + 1))


def test_a_page_is_remembered_until_it_is_known_what_became_of_it() -> None:
    """Two hundred of them: a phone found dead after many others were rung is passed on, too."""
    bell = brewing(Bell(at=NIGHT))
    for subject in ("tank-3", "bed-1"):
        bell.find(subject, "cold")
    first, second = bell.pages()
    writer = bell.engine.notifier.writer
    assert set(writer.sent) == {first.id, second.id}
    bell.engine.notifier.climbing.unreached(first.id, NIGHT)
    assert set(writer.sent) >= {second.id} and first.id not in writer.sent
    bell._drained()
    assert [page.person for page in bell.pages()] == ["aki", "aki", "bun"]


def test_no_more_than_two_hundred_pages_are_remembered() -> None:
    bell = brewing(Bell(at=NIGHT))
    for number in range(250):
        bell.wake(NIGHT + number * 20 * 60)
        bell.find("tank-3", "unwatched")
        bell.log("tank-3", "acknowledge", by="bun")
        bell.over("tank-3", "unwatched")
    kept = list(bell.engine.notifier.writer.sent)
    assert kept == [page.id for page in bell.pages()][-200:]


def test_a_step_says_who_did_it_and_how_urgent_it_is() -> None:
    bell = brewing(Bell(at=NIGHT))
    bell.find("tank-3", "warm", value=10.7)
    bell.log("tank-3", "acknowledge", by="aki")
    raised, taken = bell.step("tank-3/warm", "raised"), bell.step("tank-3/warm", "acknowledged")
    assert (raised.urgency, raised.value, raised.by) == ("wake", 10.7, None)
    assert taken.by == "aki" and "Tank 3" in taken.text
