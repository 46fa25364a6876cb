"""Recordings played through the very same core: the same input, the same bytes."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest

from kuraban.core.effects import Step
from kuraban.core.facts import ClockStepped, Impaired
from kuraban.core.site import to_document
from kuraban.core.units import HOUR, parse_time
from kuraban.replay import Outcome, Player, TimelineWriter, replay
from tests.core.busy_night import DAWN, HOUSE, Sent, messages, told
from tests.core.house import DUSK, brewery, words

ROOT = Path(__file__).resolve().parents[1]


def recorded(path: Path, *sent: Sent) -> Path:
    lines = [
        json.dumps({"tst": one.at, "topic": one.topic, "payload": one.payload,
                    "retain": int(one.retained)})
        for one in sent
    ]  # fmt: skip
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.fixture
def night(tmp_path: Path) -> Path:
    return recorded(tmp_path / "night.jsonl", *messages())


def played(*paths: Path, bundle: int = 1000, until: float | None = DAWN) -> tuple[bytes, Outcome]:
    timeline = io.BytesIO()
    outcome = replay(
        HOUSE, "kura", words(), list(paths), until=until, bundle=bundle,
        write=TimelineWriter(HOUSE, timeline),
    )  # fmt: skip
    return timeline.getvalue(), outcome


def lines(timeline: bytes) -> list[dict[str, object]]:
    return [json.loads(line) for line in timeline.splitlines()]


def test_a_replay_tells_what_the_watch_told(night: Path) -> None:
    """Steps and messages alike; the house is known from the first message on, not before."""
    timeline, _ = played(night)
    steps = [(line["alarm"], line["step"]) for line in lines(timeline) if "subject" in line]
    assert steps == [(event.alarm, event.step) for event in told() if isinstance(event, Step)]


@pytest.mark.parametrize("bundle", [1, 7, 250, 10_000])
def test_the_same_bytes_come_out_at_any_bundle(night: Path, bundle: int) -> None:
    assert played(night, bundle=bundle)[0] == played(night)[0]


def test_the_same_bytes_come_out_in_any_process(night: Path, tmp_path: Path) -> None:
    """Nothing hangs on the order in which a machine happens to keep its sets."""
    code = (
        "import sys, io; from pathlib import Path\n"
        "from tests.test_replay import played\n"
        "sys.stdout.buffer.write(played(Path(sys.argv[1]))[0])"
    )
    given = []
    for seed in ("1", "2"):
        env = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)}
        given.append(subprocess.run([sys.executable, "-c", code, str(night)], env=env, cwd=ROOT,
                                    capture_output=True, check=True).stdout)  # fmt: skip
    assert given[0] == given[1] == played(night)[0]


def test_a_night_in_two_recordings_is_the_same_night(tmp_path: Path, night: Path) -> None:
    """One of the readings, one of the entries, merged by their times."""
    entries = [one for one in messages() if "/log/" in one.topic]
    readings = [one for one in messages() if "/log/" not in one.topic]
    halves = recorded(tmp_path / "l", *entries), recorded(tmp_path / "r", *readings)
    assert played(*halves)[0] == played(night)[0]


def test_the_timeline_goes_forward_and_every_line_says_what_it_is(night: Path) -> None:
    found = lines(played(night)[0])
    times = [parse_time(line["at"]) for line in found]
    assert times == sorted(times) and len(found) > 50
    for line in found:
        if line["step"] in ("page", "notice"):
            assert {"role", "person", "urgency", "text"} <= line.keys()
            assert line["step"] == "notice" or {"alarm", "alarms"} & line.keys()
        else:
            assert line["alarm"] == f"{line['subject']}/{line['condition']}"


def test_what_was_refused_is_counted(night: Path) -> None:
    _, outcome = played(night)
    assert outcome.messages == len(messages()) and outcome.refused >= 5
    assert (outcome.bad, outcome.bad_count) == ((), 0)


def test_a_bad_line_is_counted_and_stops_nothing(night: Path) -> None:
    whole = played(night)[0]
    text = night.read_text().splitlines()
    night.write_text("\n".join([*text[:50], "noise", '{"tst": "noon"}', *text[50:]]))
    timeline, outcome = played(night)
    assert timeline == whole and outcome.bad_count == 2
    assert [fault.where for fault in outcome.bad] == [f"{night}:51", f"{night}:52"]


def test_the_clock_runs_on_to_the_end_that_was_asked_for(night: Path) -> None:
    late, _ = played(night, until=DAWN + 6 * HOUR)
    assert late.startswith(played(night)[0]) and len(late) >= len(played(night)[0])


def test_playing_stops_at_the_end_that_was_asked_for(night: Path) -> None:
    middle = DUSK + 7 * HOUR
    early, outcome = played(night, until=middle)
    assert outcome.messages == sum(one.at <= middle for one in messages())
    assert played(night)[0].startswith(early)
    assert all(parse_time(line["at"]) <= middle for line in lines(early))


def test_nothing_recorded_is_nothing_told(tmp_path: Path) -> None:
    empty = tmp_path / "empty.jsonl"
    empty.write_text("")
    assert played(empty) == (b"", Outcome(0, 0, 0, (), 0))


def test_a_house_in_the_recording_is_the_one_that_is_watched() -> None:
    """Written out from a journal, with the site as it was then."""
    import kuraban.recording as recording

    whole, small = brewery(), type(HOUSE)(site=HOUSE.site)
    player = Player(small, "kura", words())
    document = to_document(whole).encode()
    player.play(recording.Recorded(DUSK, "kura/watch/house", document, False))
    player.play(recording.Recorded(DUSK, "kura/watch/other", b"noise", False))
    player.play(recording.Recorded(DUSK, "kura/watch/house", b"noise", False))
    player.play(recording.Recorded(DUSK + 1, "kura/reading/t3-mid", b"10.4", False))
    assert player.engine.view.house == whole
    assert player.engine.view.probe_states["t3-mid"].value == 10.4
    part = msgspec.json.encode(Impaired("journal", True, 0.0))
    player.play(recording.Recorded(DUSK + 2, "kura/watch/part", part, False))
    player.play(recording.Recorded(DUSK + 2, "kura/watch/part", b"noise", False))
    player.engine.wake(DUSK + 60)
    story = player.story()
    assert [e.condition for e in story if isinstance(e, Step)] == ["journal-failing"]
    step = msgspec.json.encode(ClockStepped(0.0, -3600.0, -3600.0, DUSK))
    player.play(recording.Recorded(DUSK + 63, "kura/watch/clock", step, False))
    player.play(recording.Recorded(DUSK + 63, "kura/watch/clock", b"noise", False))
    assert [piece.ahead for piece in player.engine.clock] == [-3600.0]
