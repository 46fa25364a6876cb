"""A recording taken from the journal decides as the watch itself decided."""

from __future__ import annotations

import io
import json
from datetime import tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from kuraban.core.effects import Message, Step, timeline_line
from kuraban.core.facts import ClockStepped, Impaired, Reading, Refusal
from kuraban.core.intake.wire import Wire
from kuraban.core.units import parse_time
from kuraban.queries.journal_to_recording import Line, line_text, retell
from kuraban.recording import merged
from kuraban.replay import Player, TimelineWriter, replay
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from tests.journals import house, live_through

TOKYO = ZoneInfo("Asia/Tokyo")
TONIGHT = parse_time("2026-02-11T02:00:00+09:00")
BROKER_DOWN = Impaired("broker", True, 0.0, "nobody listens")


def write(journal: Path, out: Path, since: float | None = None, until: float | None = None) -> int:
    history = History(journal)
    lines = [line_text(line, TOKYO) for line in retell(history, "kura", since, until)]
    history.close()
    out.write_text("".join(f"{line}\n" for line in lines), "utf-8")
    return len(lines)


def played(out: Path) -> list[dict[str, object]]:
    told: list[Step | Message] = []
    outcome = replay(house(), "kura", load_words(), [out], write=told.append)
    assert outcome.bad_count == 0
    return lines(told)


def lines(told: list[Step | Message]) -> list[dict[str, object]]:
    return [timeline_line(event, TOKYO) for event in told]


@pytest.mark.parametrize(
    "night", ["slow-drift", "probe-out", "wild-codes", "outage-backfill", "mangled", "let-run"]
)
def test_the_journal_retold_gives_the_same_steps(night: str, tmp_path: Path) -> None:
    """Late, refused, wild and back-dated things included, to the last word of every message."""
    told = live_through(night, tmp_path / "journal")
    assert write(tmp_path / "journal", tmp_path / "retold.jsonl")
    assert played(tmp_path / "retold.jsonl") == lines(told)


def test_what_came_on_a_topic_not_its_own_is_refused_again(tmp_path: Path) -> None:
    """In the recording a probe with a topic of its own speaks on ours, where it was refused."""
    own = next(probe for probe in house().probes if probe.topic is not None)
    ours = Refusal(f"kura/reading/{own.id}", 0.0, "speaks on its own topic", "25.5")
    told = live_through("slow-drift", tmp_path / "journal", between=(ours,))
    write(tmp_path / "journal", tmp_path / "retold.jsonl")
    assert played(tmp_path / "retold.jsonl") == lines(told)
    retold = (tmp_path / "retold.jsonl").read_text("utf-8").splitlines()
    assert not [line for line in retold if json.loads(line)["payload"] == "25.5"]


def test_a_senders_time_of_another_millennium_is_read_again(tmp_path: Path) -> None:
    """As a number it would be taken for milliseconds."""
    far = parse_time("6026-12-01T00:00:00+09:00")
    reading = Reading("t2-mid", TONIGHT, 10.3, TONIGHT, sent=far)
    live_through("slow-drift", tmp_path / "journal", between=(reading,))
    write(tmp_path / "journal", tmp_path / "retold.jsonl")
    retold = (tmp_path / "retold.jsonl").read_text("utf-8").splitlines()
    (payload,) = [
        json.loads(line)["payload"] for line in retold if '"6026-' in json.loads(line)["payload"]
    ]
    (again,) = Wire(house(), "kura").read("kura/reading/t2-mid", payload.encode(), TONIGHT)
    assert again == reading


def test_a_broker_that_was_lost_is_retold(tmp_path: Path) -> None:
    """What failed in the watch itself rang somebody, so it belongs to the recording."""
    told = live_through("slow-drift", tmp_path / "journal", between=(BROKER_DOWN,))
    write(tmp_path / "journal", tmp_path / "retold.jsonl")
    assert any(isinstance(event, Step) and event.condition == "broker-lost" for event in told)
    assert played(tmp_path / "retold.jsonl") == lines(told)


@pytest.mark.parametrize("by", [-3600.0, -32400.0, 3 * 86400.0])
def test_a_step_of_the_clock_is_retold(tmp_path: Path, by: float) -> None:
    """Every time in the recording is the watch's own, which never goes back; words are people's."""
    step = ClockStepped(0.0, by, by, 0.0)
    told = live_through("slow-drift", tmp_path / "journal", between=(step,))
    count = write(tmp_path / "journal", tmp_path / "retold.jsonl")
    assert played(tmp_path / "retold.jsonl") == lines(told)
    retold = (tmp_path / "retold.jsonl").read_text("utf-8").splitlines()
    stamps = [json.loads(line)["tst"] for line in retold]
    assert stamps == sorted(stamps) and len(stamps) == count


def test_a_recording_that_begins_behind_a_step_knows_of_it(tmp_path: Path) -> None:
    step = ClockStepped(0.0, -3600.0, -3600.0, 0.0)
    told = live_through("slow-drift", tmp_path / "journal", between=(step,))
    write(tmp_path / "journal", tmp_path / "late.jsonl", since=told[-1].at - 60.0)
    player = Player(house(), "kura", load_words())
    for line in merged([tmp_path / "late.jsonl"], lambda bad: None, lambda size: None):
        player.play(line)
    assert [piece.ahead for piece in player.engine.clock] == [-3600.0]


def test_the_timeline_shows_the_wall_clocks_time_at_any_batch_size(tmp_path: Path) -> None:
    """What was before the step by the clock of before, what comes after by that of after."""
    step = ClockStepped(0.0, -3600.0, -3600.0, 0.0)
    told = live_through("slow-drift", tmp_path / "journal", between=(step,))
    write(tmp_path / "journal", tmp_path / "retold.jsonl")
    written = []
    for bundle in (1, 7, 1000):
        file = io.BytesIO()
        writer = TimelineWriter(house(), file)

        def stepped(zone: tzinfo, writer: TimelineWriter = writer) -> None:
            writer.zone = zone

        replay(
            house(), "kura", load_words(), [tmp_path / "retold.jsonl"],
            bundle=bundle, write=writer, stepped=stepped,
        )  # fmt: skip
        written.append(file.getvalue())
    assert written[0] == written[1] == written[2]
    shown = [json.loads(line)["at"] for line in written[0].splitlines()]
    plain = [line["at"] for line in lines(told)]
    assert shown[0] == plain[0]
    assert parse_time(shown[-1]) == parse_time(str(plain[-1])) - 3600


def test_a_recording_that_begins_in_the_middle_knows_the_batches(tmp_path: Path) -> None:
    """A batch logged before the beginning still runs, and its drift is told."""
    told = live_through("slow-drift", tmp_path / "journal")
    first = next(event for event in told if getattr(event, "condition", "") == "warm")
    write(tmp_path / "journal", tmp_path / "late.jsonl", since=first.at - 3 * 3600)
    assert "tank-2/warm" in {line.get("alarm") for line in played(tmp_path / "late.jsonl")}


def test_a_recording_ends_where_it_is_told_to(tmp_path: Path) -> None:
    told = live_through("slow-drift", tmp_path / "journal")
    write(tmp_path / "journal", tmp_path / "early.jsonl", until=told[-1].at - 3600)
    last = (tmp_path / "early.jsonl").read_text("utf-8").splitlines()[-1]
    assert json.loads(last)["tst"] < timeline_line(told[-1], TOKYO)["at"]  # type: ignore[operator]


def test_a_line_is_what_mosquitto_sub_would_print() -> None:
    """Time with an offset, the payload as a text, `retain` as a number."""
    line = line_text(Line(1770721207.5, "kura/reading/t3-mid", "10.46", True), TOKYO)
    assert json.loads(line) == {
        "tst": "2026-02-10T20:00:07.500000+09:00",
        "topic": "kura/reading/t3-mid",
        "payload": "10.46",
        "qos": 1,
        "retain": 1,
    }
