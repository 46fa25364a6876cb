"""What a receiver of the long history made of what it was given."""

from __future__ import annotations

from kuraban.edges.history.answer import TAKEN, Answer


def test_who_asks_for_no_pause_is_tried_again_at_the_usual_pace() -> None:
    assert TAKEN == ("taken", "", 0.0) and Answer("away", "it sleeps").pause == 0.0
