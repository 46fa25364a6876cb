"""What a receiver of the long history made of what it was given."""

from __future__ import annotations

from typing import Final, Literal, NamedTuple


class Answer(NamedTuple):
    """`taken`: it has the points. `refused`: one of them at least is not to its taste. `away`: it
    takes nothing now, and asks for `pause` seconds before the next try, if it asks for any."""

    kind: Literal["taken", "refused", "away"]
    reason: str = ""
    pause: float = 0.0


TAKEN: Final = Answer("taken")
