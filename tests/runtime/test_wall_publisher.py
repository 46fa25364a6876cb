"""The word for the lamp is said again and again, the line for a loudspeaker once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from kuraban.core.facts import Impaired
from kuraban.core.views.wall import BEAT
from kuraban.runtime.wall_publisher import WallPublisher
from kuraban.settings.catalogues import load_words
from tests.edges.web.served import Served

Told = list[tuple[str, str]]


@pytest.fixture
def night(tmp_path: Path) -> Iterator[Served]:
    with closing(Served.live(tmp_path)) as lived:
        yield lived


@pytest.fixture
def told() -> Told:
    return []


@pytest.fixture
def beat(night: Served, told: Told) -> Callable[[], None]:
    def publish(topic: str, payload: bytes, retain: bool) -> None:
        assert retain
        told.append((topic.removeprefix("kura/watch/"), payload.decode()))

    wall = WallPublisher(publish, "kura", load_words())
    return lambda: wall.beat(night.engine)


def test_what_nobody_has_flashes_and_is_said_in_both_languages(
    night: Served, beat: Callable[[], None], told: Told
) -> None:
    """At ten past three Ken has the chiller: the lamp is steady, and nothing is to be said."""
    beat()
    assert told == [("lamp", "steady"), ("say/en", ""), ("say/ja", "")]
    told.clear()
    night.submit(Impaired("pages", True, night.clock(), "no answer"))
    night.pass_time(1.0)
    beat()
    assert [topic for topic, _ in told] == ["lamp", "say/en", "say/ja"]
    assert told[0][1] == "flash" and all(line for _, line in told)
    assert "\n" not in told[1][1] and told[1][1] != told[2][1]


def test_the_word_is_the_beat_and_the_line_is_said_once(
    night: Served, beat: Callable[[], None], told: Told
) -> None:
    beat()
    told.clear()
    night.pass_time(BEAT / 2)
    beat()
    assert told == []
    night.pass_time(BEAT / 2)
    beat()
    assert told == [("lamp", "steady")]
