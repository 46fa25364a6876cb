"""Links in messages: a button to answer a ring, or to say in the morning whether it was worth it.

They are added only as the message leaves the house.

A link answers for one person and one alarm, so it is as good as their name; it therefore stands
neither in the journal nor in the outbox, and is signed anew at every try. Messengers open links by
themselves: opening one does nothing, only the button on its page does.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, Literal

from kuraban.core.effects import Message

Act = Literal["acknowledge", "let-run", "verdict"]
Make = Callable[[str, str, str, Act, float], str | None]
"""Subject, condition, person, what it does, the message's time; None without a public address."""

MOST: Final = 4
"""Alarms of one message that get a link of their own."""
MOST_ASKED: Final = 8
"""Rings of a night that are asked about."""
RUNS: Final = frozenset({"warm", "cold", "trending-warm", "trending-cold"})
"""What can be let run."""
WORDS: Final[dict[str, dict[Act, str]]] = {
    "en": {"acknowledge": "I have it", "let-run": "let it run", "verdict": "Worth it?"},
    "ja": {"acknowledge": "対応します", "let-run": "様子を見る", "verdict": "鳴らして良かったか"},
}


class Links:
    """The lines to add to a message's body."""

    def __init__(self, make: Make) -> None:
        self._make = make

    def __call__(self, message: Message) -> str:
        """One line a button, "" where the message asks for no answer or has no way to give one."""
        if message.urgency == "log":
            asked = message.asks[:MOST_ASKED]
            lines = [self._line(message, alarm, "verdict", ring) for alarm, ring in asked]
            return "\n".join(filter(None, lines))
        lines = [self._line(message, alarm, "acknowledge") for alarm in message.alarms[:MOST]]
        if len(message.alarms) == 1 and _condition(message.alarms[0]) in RUNS:
            lines.append(self._line(message, message.alarms[0], "let-run"))
        return "\n".join(filter(None, lines))

    def _line(self, message: Message, alarm: str, act: Act, about: str = "") -> str:
        subject, _, condition = alarm.partition("/")
        link = self._make(subject, condition, message.person, act, message.at)
        if link is None:
            return ""
        word = WORDS.get(message.language, WORDS["en"])[act]
        if not about and len(message.alarms) > 1:
            about = f"({subject})"
        return f"{' '.join(filter(None, (word, about)))}: {link}"


def _condition(alarm: str) -> str:
    return alarm.partition("/")[2]
