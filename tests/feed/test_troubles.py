"""A loose plug is one line in the log, and one more when it holds."""

from __future__ import annotations

from kuraban.feed.troubles import WELL, Troubles


def test_a_trouble_is_told_once_and_once_more_when_it_is_over() -> None:
    said: list[str] = []
    troubles = Troubles(said.append)
    for _ in range(50):
        troubles.silent("t3-mid", "its checksum is wrong")
        troubles.heard("t3-mid")
    assert said == ["t3-mid: no reading: its checksum is wrong"]
    for _ in range(WELL):
        troubles.heard("t3-mid")
        troubles.heard("t4-mid")
    assert said[1:] == ["t3-mid: reads again"]
