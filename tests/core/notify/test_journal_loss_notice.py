"""When a damaged journal was set aside, those who can log the batches anew are told."""

from __future__ import annotations

import msgspec

from kuraban.core.notify.journal_loss_notice import words_about
from kuraban.settings import load
from tests.edges.web.served import SITE

HOUSE = load(SITE, {}).house
NIGHT = 1_770_145_800.0
"""2026-02-04 03:50 in Japan."""


def test_maintenance_and_the_brewer_are_told_where_the_old_one_lies() -> None:
    """Once each, to be woken by."""
    told = words_about(HOUSE, "/var/lib/kuraban/kuraban.journal.damaged", NIGHT)
    assert [message.person for message in told] == ["ken", "aki"]
    assert {message.urgency for message in told} == {"wake"}
    assert all("kuraban.journal.damaged" in message.body for message in told)


def test_each_hears_it_in_their_language() -> None:
    people = tuple(msgspec.structs.replace(one, language="ja") for one in HOUSE.people)
    told = words_about(msgspec.structs.replace(HOUSE, people=people), "x", NIGHT)
    assert {message.title for message in told} == {"見張りの記録が壊れていました"}
