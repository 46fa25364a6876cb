"""What a turn came to, and how it is written into the timeline."""

from __future__ import annotations

from kuraban.core.effects import Message, Step, Turn, timeline_line
from kuraban.core.facts import Impaired
from tests.core.house import DUSK, TOKYO

STEP = Step(
    at=DUSK, subject="tank-3", condition="warm", step="raised", urgency="wake", value=10.61234,
    planned=10.0, text="Tank 3 warm",
)  # fmt: skip


def message(*alarms: str, body: str = "") -> Message:
    return Message(id="1", at=DUSK + 0.25, step="page", role="brewer", person="aki",
                   urgency="wake", title="Tank 3", body=body, alarms=alarms)  # fmt: skip


def test_a_step_is_a_line_of_the_timeline() -> None:
    assert timeline_line(STEP, TOKYO) == {
        "at": "2026-02-01T18:00:00+09:00",
        "alarm": "tank-3/warm",
        "subject": "tank-3",
        "condition": "warm",
        "step": "raised",
        "urgency": "wake",
        "value": 10.612,
        "planned": 10.0,
        "text": "Tank 3 warm",
    }


def test_what_is_not_known_of_a_step_is_left_out() -> None:
    bare = Step(at=DUSK, subject="watch", condition="dark", step="acknowledged", urgency="wake",
                by="aki")  # fmt: skip
    line = timeline_line(bare, TOKYO)
    assert "value" not in line and "planned" not in line and line["by"] == "aki"


def test_a_message_names_its_alarm_or_its_alarms() -> None:
    one = timeline_line(message("tank-3/warm"), TOKYO)
    assert one["alarm"] == "tank-3/warm" and "alarms" not in one
    two = timeline_line(message("tank-3/warm", "tank-4/warm"), TOKYO)
    assert two["alarms"] == ["tank-3/warm", "tank-4/warm"] and "alarm" not in two
    none = timeline_line(message(), TOKYO)
    assert not {"alarm", "alarms"} & none.keys()
    assert list(one) == ["at", "step", "role", "person", "urgency", "alarm", "text"]
    assert one["at"] == "2026-02-01T18:00:00.250+09:00"


def test_a_text_is_its_title_and_its_body() -> None:
    assert message().text == "Tank 3"
    assert message(body="Go and look").text == "Tank 3\nGo and look"


def test_a_turn_with_anything_to_keep_is_not_empty() -> None:
    assert Turn(now=DUSK).empty
    assert not Turn(now=DUSK, facts=[Impaired("broker", True, DUSK)]).empty
    assert not Turn(now=DUSK, story=[STEP]).empty
    assert not Turn(now=DUSK, withdrawn=[(0, "tank-3/warm")]).empty


def test_turns_share_no_lists() -> None:
    Turn(now=DUSK).story.append(STEP)
    assert Turn(now=DUSK).empty


def test_what_was_taken_in_hand_stands_between_what_was_told_before_and_after() -> None:
    first, second = message("tank-3/warm"), message("tank-3/far-warm")
    turn = Turn(
        now=DUSK, story=[first, STEP, second], withdrawn=[(1, "tank-3/warm"), (1, "a"), (3, "b")]
    )
    assert list(turn.told()) == [first, "tank-3/warm", "a", STEP, second, "b"]
    assert list(Turn(now=DUSK, withdrawn=[(0, "a")]).told()) == ["a"]
