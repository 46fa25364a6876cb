"""The broker is told how every alarm stands, and what was entered without it."""

from __future__ import annotations

import json
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from kuraban.core import entries as e
from kuraban.core.effects import Step
from kuraban.core.facts import Logged
from kuraban.runtime.alarm_publisher import AlarmPublisher
from kuraban.settings.catalogues import load_words
from tests.edges.web.served import Served

Told = list[tuple[str, bytes, bool]]


@pytest.fixture
def told() -> Told:
    return []


@pytest.fixture
def alarm_publisher(told: Told) -> AlarmPublisher:
    def publish(topic: str, payload: bytes, retain: bool = False) -> None:
        told.append((topic, payload, retain))

    return AlarmPublisher(publish, "kura", ZoneInfo("Asia/Tokyo"), load_words())


def step(kind: str) -> Step:
    return Step(at=0.0, subject="tank-3", condition="warm", step=kind, urgency="wake", text="warm")


def test_an_alarm_stands_at_the_broker_until_it_is_over(
    alarm_publisher: AlarmPublisher, told: Told
) -> None:
    """Retained; the end of it takes it away."""
    alarm_publisher.tell(step("raised"))
    alarm_publisher.tell(step("normal"))
    (topic, payload, kept), over = told
    assert (topic, kept) == ("kura/watch/alarm/tank-3/warm", True)
    assert json.loads(payload)["step"] == "raised"
    assert over == (topic, b"", True)


def test_what_was_entered_on_a_page_is_told_and_what_came_by_the_broker_is_not(
    alarm_publisher: AlarmPublisher, told: Told
) -> None:
    """It would come back for ever."""
    alarm_publisher.tell_entries(
        Logged(f"by {way}", "tank-3", e.Stir(), 0.0, 0.0, "mio", way)
        for way in ("broker", "page", "link", "command")
    )
    assert [json.loads(payload)["id"] for _, payload, _ in told] == ["by page", "by link"]
    assert {(topic, kept) for topic, _, kept in told} == {("kura/log/tank-3", False)}


def test_after_a_restart_all_that_stands_is_told_anew(
    alarm_publisher: AlarmPublisher, told: Told, tmp_path: Path
) -> None:
    """And what is over is taken away, whatever the broker kept of it."""
    served = Served.live(tmp_path)
    alarm_publisher.recall(served.engine.alarm_manager, served.path)
    standing = {topic for topic, payload, _ in told if payload}
    over = {topic for topic, payload, _ in told if not payload}
    assert "kura/watch/alarm/chiller-1/stopped" in standing
    assert over and not standing & over
    served.close()
