"""What a message can be written from: little need be known."""

from __future__ import annotations

import msgspec

from kuraban.core.texts.alarm_facts import Situation
from kuraban.core.texts.messages import page
from tests.core.house import DUSK, TOKYO, words


def test_where_and_what_are_enough_for_a_message() -> None:
    bare = Situation(at=DUSK, subject="tank-3", name="Tank 3", kind="tank", condition="warm")
    assert page(bare, "en", words(), TOKYO).title.startswith("Tank 3")
    known = [name for name in bare.__struct_fields__ if getattr(bare, name) not in (None, (), {})]
    assert known == ["at", "subject", "name", "kind", "condition", "unit", "banded", "doubtful"]


def test_a_doubtful_message_says_so_and_is_otherwise_the_same() -> None:
    sure = Situation(at=DUSK, subject="tank-3", name="Tank 3", kind="tank", condition="warm")
    twice = msgspec.structs.replace(sure, doubtful=True)
    once, again = (page(each, "en", words(), TOKYO) for each in (sure, twice))
    assert once.title == again.title and len(again.body) > len(once.body)
