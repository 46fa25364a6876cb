"""What a stranger wrote gives no terminal an order."""

from __future__ import annotations

import json

from hypothesis import given
from hypothesis import strategies as st

from kuraban.core.texts.sanitized_text import json_plain, plain


def test_orders_to_a_terminal_are_taken_out() -> None:
    """Escape in one byte or two, a bell, a line that runs backwards."""
    assert plain("\x1b[2Jwarm\x07\r") == "\ufffd[2Jwarm\ufffd\ufffd"
    assert plain("\x9b31m") == "\ufffd31m"
    assert plain("tank\u202e3") == "tank\ufffd3"


def test_what_people_write_stays() -> None:
    words = "仕込み 3 本、\u3000泡\u3099 10.5 ℃\n\tdone 👍"
    assert plain(words) == words


@given(st.text())
def test_nothing_is_made_longer_or_shorter(text: str) -> None:
    assert len(plain(text)) == len(text)
    assert plain(plain(text)) == plain(text)


@given(st.dictionaries(st.text(), st.text()))
def test_json_says_the_same(told: dict[str, str]) -> None:
    text = json_plain(json.dumps(told, ensure_ascii=False))
    assert json.loads(text) == told and plain(text) == text
