"""The watch's state kept and taken up again: it decides on as if it had never stopped."""

from __future__ import annotations

import io
import platform
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import msgspec
import pytest
from hypothesis import Phase, example, given, settings
from hypothesis import strategies as st

import kuraban
from fixtures import timelines
from kuraban.core.effects import Message, Step
from kuraban.core.engine.durable_state import standing_of
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import HouseChanged
from kuraban.core.site import to_document
from kuraban.core.texts.messages import Words
from kuraban.recording import merged
from kuraban.replay import Player, TimelineWriter
from kuraban.runtime.checkpoint.document import (
    FORMAT,
    engine_in,
    freeze,
    read,
    standing_in,
    version,
)
from kuraban.settings import load
from kuraban.settings.catalogues import load_words
from kuraban.store.journal import Checkpoint
from tests.core.house import brewery, mashing

WORDS = load_words()
twice = settings(max_examples=2, phases=[Phase.explicit, Phase.generate])
"""Whole nights, each with some restarts in it."""


def kept(engine: Engine) -> Checkpoint:
    found = freeze(engine)
    assert found is not None
    return found


def with_restarts(name: str, shares: list[float]) -> bytes:
    """A night's timeline, its engine kept and read again after these shares of its messages."""
    house = load(timelines.SITE, {}).house
    player, story = Player(house, "kura", WORDS), list[Step | Message]()
    lines = list(merged([timelines.recording(name)], lambda bad: None, lambda size: None))
    cuts = {int(share * (len(lines) - 1)) for share in shares}
    for number, line in enumerate(lines):
        player.play(line)
        if number in cuts:
            story += player.story()
            before = kept(player.engine)
            player.engine = engine_in(read(before.blob), WORDS)
            assert bytes(kept(player.engine).blob) == bytes(before.blob)
    player.engine.wake(datetime.fromisoformat(timelines.truth(name)["end"]).timestamp())
    return written([*story, *player.story()])


def written(story: list[Step | Message]) -> bytes:
    file = io.BytesIO()
    write = TimelineWriter(load(timelines.SITE, {}).house, file)
    for event in story:
        write(event)
    return file.getvalue()


@pytest.mark.parametrize("name", timelines.names())
@twice
@given(st.lists(st.floats(0, 1), min_size=1, max_size=4))
@example([0.5, 0.5001, 0.9])
def test_a_night_with_restarts_in_it_is_the_same_night(name: str, shares: list[float]) -> None:
    """To the byte, wherever it is cut; and what is read again is the same bytes when it is kept."""
    assert with_restarts(name, shares) == timelines.kept(name)


def test_it_is_plain_data_that_anybody_can_read() -> None:
    """MessagePack: what stands by its names, what is remembered as numbers and texts."""
    night = mashing()
    night.told["t3-mid"] = 11.5
    night.run(120)
    found = msgspec.msgpack.decode(kept(night.engine).blob)
    assert found["kuraban"] == FORMAT and found["standing"]["version"] == 1
    alarm = next(one for one in found["standing"]["alarms"] if one["condition"] == "warm")
    assert (alarm["subject"], alarm["state"]) == ("tank-3", "UNACK")
    assert {shape[0] for shape in found["memory"]["shapes"]} >= {"list", "dict"}


def test_it_carries_no_catalogue() -> None:
    """Sentences changed since are told as they are now."""
    engine, other = mashing().engine, Words({"en": {}})
    again = engine_in(read(kept(engine).blob), other)
    assert again.words is other and again.notifier.writer._words is other


def test_the_same_state_is_the_same_bytes_in_every_process() -> None:
    """However Python scatters texts in its sets."""
    tells = (
        "from tests.core.house import mashing; from kuraban.runtime import freeze;"
        "night = mashing(); night.run(600); import hashlib;"
        "print(hashlib.sha256(freeze(night.engine).blob).hexdigest())"
    )
    root = Path(__file__).parents[3]
    told = {
        subprocess.run(
            [sys.executable, "-c", tells], cwd=root, env={"PYTHONHASHSEED": seed}, text=True,
            capture_output=True, check=True,
        ).stdout
        for seed in ("1", "2")
    }  # fmt: skip
    assert len(told) == 1


def test_without_a_house_there_is_nothing_to_keep() -> None:
    assert freeze(Engine(WORDS)) is None


def test_what_cannot_be_kept_is_told_and_stops_nothing(caplog: pytest.LogCaptureFixture) -> None:
    engine = mashing().engine
    engine.notifier.writer.withdrawn.append(print)  # type: ignore[arg-type]
    assert freeze(engine) is None
    assert "cannot be kept" in caplog.text


def test_the_version_is_that_of_the_code_and_not_of_python() -> None:
    """A new Python reads it on; another judgement does not remember so."""
    assert kuraban.__version__ in version()
    assert platform.python_version() not in version()


def test_another_form_is_not_read() -> None:
    blob = bytes(kept(mashing().engine).blob)
    other = blob.replace(b"kuraban\x01", b"kuraban\x02", 1)
    with pytest.raises(ValueError, match="form 2"):
        read(other)


def test_memory_that_is_not_of_what_stands_is_not_taken() -> None:
    """Whoever alters one of the two has neither."""
    night = mashing()
    document = read(kept(night.engine).blob)
    assert standing_in(document) == standing_of(night.engine)
    night.run(60)
    other = read(kept(night.engine).blob)
    document.memory = other.memory
    with pytest.raises(ValueError, match="is not what stands"):
        engine_in(document, WORDS)


def test_memory_of_something_else_is_no_engine() -> None:
    engine = Engine(WORDS)
    engine.take(HouseChanged(1e9, to_document(brewery())))
    document = read(kept(engine).blob)
    document.memory = msgspec.Raw(msgspec.msgpack.encode({"pages": [[[0]]], "shapes": [["list"]]}))
    with pytest.raises(ValueError, match="is not what stands"):
        engine_in(document, WORDS)
