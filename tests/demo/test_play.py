"""The demo as a newcomer starts it: a night in seconds, told as a replay would tell it."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from threading import Event

import pytest

from kuraban.core.effects import Message, Turn
from kuraban.demo.keys import Keys
from kuraban.demo.link import pages_of
from kuraban.demo.nights import find_night
from kuraban.demo.play import PACES, TOLD_WITHIN, _next_pace, _Stage
from kuraban.demo.screen import Story
from kuraban.demo.stage import Rung
from kuraban.replay import replay
from kuraban.runtime.watch import JOURNAL
from kuraban.settings import load
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from kuraban.store.journal import Journal

FIXTURES = Path(__file__).parents[2] / "fixtures"
KURABAN = Path(sys.executable).parent / "kuraban"
TEST = "A word to a phone"
TRULY = {"Tank 2 (t2-mid) probe out?", "Tank 5 warm", "Chiller 1 stopped"}
"""What the night's truth asks to be told, and no more."""


def start(home: Path, *options: str) -> subprocess.Popen[str]:
    env = {**os.environ, "COLUMNS": "120", "TMPDIR": str(home), "LANG": "C.UTF-8", "LC_ALL": ""}
    return subprocess.Popen(
        [KURABAN, "demo", *options], env=env, text=True, encoding="utf-8",
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip


def staged(home: Path) -> _Stage:
    return _Stage(find_night(FIXTURES), home, 1.0, Event(), pages_of(lan=False), Keys())


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Everything that `kuraban demo --once` says."""
    home = tmp_path_factory.mktemp("demo")
    process = start(home, "--once")
    said, _ = process.communicate(timeout=120)
    assert process.returncode == 0, said
    assert list(home.iterdir()) == [], "something was left lying about"
    return said


@pytest.fixture(scope="module")
def story() -> Story:
    """The same night, replayed."""
    night = find_night(FIXTURES)
    house, words = load(night.brewery / "site.toml", {}).house, load_words()
    told = Story(house, words)

    def write(event: object) -> None:
        told.take(Turn(now=0.0, story=[event]))  # type: ignore[list-item]

    replay(house, "kura", words, [night.recording], until=night.end, write=write)
    return told


def rows(told: str, title: str) -> Iterator[list[str]]:
    """The rows of the table of that title, cut into their cells."""
    after = told.partition(title)[2].partition("─\n")[2]
    for line in after.partition("\n\n")[0].splitlines():
        yield re.split(r" {2,}", line.strip())


def rung(told: str) -> dict[str, list[str]]:
    return {row[3]: row for row in rows(told, "Who was rung") if len(row) > 4}


@pytest.mark.slow
def test_the_night_tells_what_is_true_and_wakes_nobody_else(told: str) -> None:
    """A drift wakes the brewer, a chiller maintenance, a pulled probe whoever stirred there."""
    table = rung(told)
    assert set(table) == TRULY
    who = {what: (row[1].split(",")[0], row[2]) for what, row in table.items()}
    assert who["Tank 5 warm"] == ("Aki", "brewer")
    assert who["Chiller 1 stopped"] == ("Ken", "maintenance")
    assert who["Tank 2 (t2-mid) probe out?"] == ("Mio", "crew")


@pytest.mark.slow
def test_the_chiller_is_told_to_maintenance_alone(told: str) -> None:
    """Four tanks hang on it, and nobody is woken for any of them."""
    assert "Serves Tank 1, Tank 2, Tank 3, Tank 4" in told
    assert rung(told)["Chiller 1 stopped"][1] == "Ken"


@pytest.mark.slow
def test_a_stir_is_seen_and_wakes_nobody(told: str) -> None:
    assert "Mio stirs Tank 1" in told.partition("Who was rung")[0]
    assert "Mio stirs Tank 1" in told.partition("rang nobody")[2]


@pytest.mark.slow
def test_evening_word_and_morning_report_come(told: str) -> None:
    assert "20:30  Aki's phone  brewer  soundless" in told
    assert "06:00  Aki's phone  brewer  soundless" in told


@pytest.mark.slow
def test_the_live_night_gives_the_alarms_of_its_replay(told: str, story: Story) -> None:
    """The same ring the same people; what rings nobody differs at most by hints."""
    live = {what: row[1].split(", then ") for what, row in rung(told).items()}
    assert live == {
        story.name(alarm): list(dict.fromkeys(story.person(page.person) for page in pages))
        for alarm, pages in story.rings().items()
    }
    quiet = {row[1] for row in rows(told, "rang nobody") if "for the morning" in row[-1]}
    replayed = {
        f"{story.name(step.alarm)} ({step.urgency}), for the morning"
        for step in story.quiet_alarms()
    }
    # A probe that sends no time is read when it arrives, and at this pace 10 ms are 12 s of night.
    assert all("on its way" in one for one in quiet ^ replayed), (quiet, replayed)


@pytest.mark.slow
def test_asked_to_stop_the_demo_clears_everything_away(tmp_path: Path) -> None:
    """In the middle of the night as after it: exit 0, no folder, no broker left."""
    process = start(tmp_path, "--speed", "600")
    deadline = time.monotonic() + 30
    while not list(tmp_path.glob("kuraban-demo-*/brewery/data/*.journal")):
        assert time.monotonic() < deadline and process.poll() is None
        time.sleep(0.05)
    time.sleep(2.0)
    process.send_signal(signal.SIGINT)
    said, _ = process.communicate(timeout=30)
    assert process.returncode == 0, said
    assert "Traceback" not in said
    assert list(tmp_path.iterdir()) == []


def test_a_message_that_comes_before_its_turn_is_shown_with_its_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """On a machine with much to do the phone may hear of it before the screen does."""
    stage = staged(tmp_path)
    try:
        stage.phones.arrived.put(Rung("aki", TEST, "", time.monotonic()))
        stage._show()
        assert TEST not in capsys.readouterr().out
        word = Message(
            id="1", at=stage.night.end, step="notice", role="brewer", person="aki",
            urgency="notice", title=TEST, body="",
        )  # fmt: skip
        stage.turns.put(Turn(now=stage.night.end, story=[word]))
        stage._show()
        assert "06:00  Aki's phone  brewer  soundless" in capsys.readouterr().out
    finally:
        stage.phones.close()


def test_a_message_of_somebody_elses_is_shown_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever tries a phone with the demo running sees it ring."""
    stage = staged(tmp_path)
    try:
        stage.phones.arrived.put(Rung("aki", TEST, "", time.monotonic() - TOLD_WITHIN))
        stage._show()
        assert TEST in capsys.readouterr().out
    finally:
        stage.phones.close()


def test_the_night_is_not_over_before_its_last_word_is_written(tmp_path: Path) -> None:
    """However far the watch has judged: what it judged is still to be told."""
    stage = staged(tmp_path)
    try:
        Journal.open(stage.settings.data / JOURNAL).close()
        stage.history = History(stage.settings.data / JOURNAL)
        stage.turns.put(Turn(now=stage.night.end - 1.0))
        stage._show()
        assert not stage._told()
        stage.turns.put(Turn(now=stage.night.end))
        stage._show()
        assert stage._told()
        stage.history.close()
    finally:
        stage.phones.close()


@pytest.mark.slow
def test_the_link_to_the_pages_is_printed_before_the_night_begins(told: str) -> None:
    assert re.search(r"The pages: http://127\.0\.0\.1:\d+/", told.partition("20:30")[0])


def test_the_night_is_made_faster_and_slower_by_steps() -> None:
    """From any pace to the next one; the slowest is life's own, and none is beyond the fastest."""
    assert [_next_pace(654.5, faster=True), _next_pace(654.5, faster=False)] == [1200.0, 600.0]
    assert _next_pace(PACES[-1], faster=True) == PACES[-1]
    assert _next_pace(1.0, faster=False) == 1.0


def test_the_night_hurries_to_the_next_message_and_goes_at_lifes_pace_from_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stage = staged(tmp_path)
    try:
        stage._obey("n")
        assert stage.jumping and stage.speed == PACES[-1]
        stage.phones.arrived.put(Rung("aki", TEST, "", time.monotonic() - TOLD_WITHIN))
        stage._show()
        assert not stage.jumping and stage.speed == stage.clock.speed == 1.0
        stage._obey("+q")
        assert stage.speed == 10.0 and stage.stop.is_set()
        assert "the night goes 10 times as fast as life" in capsys.readouterr().out
    finally:
        stage.phones.close()
