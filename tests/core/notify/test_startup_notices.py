"""What the watch says as it begins: a journal set aside, a calendar that cannot be read."""

from __future__ import annotations

import msgspec

from kuraban.core.notify.startup_notices import on_a_lost_journal, on_calendars
from kuraban.errors import Fault
from kuraban.settings import load
from tests.edges.web.served import SITE

HOUSE = load(SITE, {}).house
NIGHT = 1_770_145_800.0
"""2026-02-04 03:50 in Japan."""


def test_maintenance_and_the_brewer_are_told_where_the_old_one_lies() -> None:
    """Once each, to be woken by."""
    told = on_a_lost_journal(HOUSE, "/var/lib/kuraban/kuraban.journal.damaged", NIGHT)
    assert [message.person for message in told] == ["ken", "aki"]
    assert {message.urgency for message in told} == {"wake"}
    assert all("kuraban.journal.damaged" in message.body for message in told)


def test_each_hears_it_in_their_language() -> None:
    people = tuple(msgspec.structs.replace(one, language="ja") for one in HOUSE.people)
    told = on_a_lost_journal(msgspec.structs.replace(HOUSE, people=people), "x", NIGHT)
    assert {message.title for message in told} == {"見張りの記録が壊れていました"}


def test_maintenance_hears_of_a_calendar_that_cannot_be_read() -> None:
    """Soundless, with the file and what is wrong in it; where all can be read nobody is told."""
    fault = Fault("site.toml", "calendar[#1].file", "/etc/duty.ics holds no VCALENDAR", "save it")
    (told,) = on_calendars(HOUSE, (fault,), NIGHT)
    assert (told.person, told.step, told.urgency) == ("ken", "notice", "log")
    assert "calendar[#1].file: /etc/duty.ics holds no VCALENDAR" in told.body
    assert on_calendars(HOUSE, (), NIGHT) == []
