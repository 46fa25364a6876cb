"""A brewer is told in plain words what an entry lacks."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.entries import read_entry
from kuraban.core.intake.decode_errors import choices, plainly

LET_RUN = {"entry": "let-run", "for": "2h", "more": 0.5}


def sentence(fields: dict[str, object]) -> str:
    with pytest.raises(msgspec.ValidationError) as raised:
        read_entry(fields)
    return plainly(str(fields["entry"]), str(raised.value), fields)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"entry": "check", "celsius": "10"}, "celsius is a text; send the number"),
        ({"entry": "check", "celsius": None}, "celsius is null; send the number"),
        ({"entry": "check", "celsius": True}, "celsius is true or false; send the number"),
        ({"entry": "check", "celsius": 200}, "celsius is too great; at most 110 is right"),
        ({"entry": "addition", "what": "rice", "kg": 0}, "kg is too small; more than 0 is right"),
        ({"entry": "check"}, 'check needs celsius: "celsius": 10.5'),
        ({"entry": "note", "text": 5}, "text is a number; send a text"),
        ({"entry": "note", "text": ""}, "at least 1 character is right"),
        ({"entry": "note", "text": "x" * 201}, "at most 200 characters is right"),
        ({"entry": "split", "to": "tank-4"}, "to is a text; send a list"),
        ({"entry": "split", "to": ["Tank 4"]}, "ids are small letters, digits and hyphens"),
        ({"entry": "plan", "points": [[1, 2, 3]]}, "points[0] has the wrong length; 2 members"),
        ({"entry": "addition", "what": "rise"}, 'what cannot be "rise"; there are rice,'),
        ({**LET_RUN, "for": "soon"}, "for: 'soon' is not a duration"),
        ({**LET_RUN, "for": 7200}, "for: 7200 is not a duration"),
        ({"entry": "aim", "celsius": 9}, "by is the time at which the aim is reached"),
        ({"entry": "aim", "celsius": 9, "by": "Aki"}, "name the person in who"),
    ],
)
def test_every_complaint_of_the_decoder_has_plain_words(
    fields: dict[str, object], words: str
) -> None:
    assert words in sentence(fields)
    assert "`" not in sentence(fields) and "Expected" not in sentence(fields)


def test_the_words_of_a_choice_come_from_the_entry_itself() -> None:
    assert set(choices("cask-in", "what")) == {"warm", "cold"}
    assert "yodan" in choices("addition", "what")
    assert choices("note", "text") == ()
