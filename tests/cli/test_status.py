"""`kuraban status`: one screen, the same words as everywhere, and JSON for a script."""

from __future__ import annotations

import json
import pickle
import re
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from kuraban.core.effects import Turn
from kuraban.runtime.checkpoint.document import version
from kuraban.store.forwarded import Forwarded, SetAside
from kuraban.store.history import History
from kuraban.store.journal import Checkpoint, Journal
from tests.broker import free_port
from tests.cli.conftest import Type
from tests.journals import live_through, site_file
from tests.kept import Evil


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    """Site file and last moment of a night in which tank 2 drifted; no broker is there."""
    folder = tmp_path_factory.mktemp("night")
    live_through("slow-drift", folder / "data" / "kuraban.journal", share=0.9)
    history = History(folder / "data" / "kuraban.journal")
    last = history.now()
    history.close()
    return site_file(folder, port=free_port()), last or 0.0


def test_the_screen_begins_with_what_needs_somebody(
    night: tuple[Path, float], type_in: Type, at: Callable[[float], None]
) -> None:
    """Alarms, then what is judged, then what is not and why, probes, and the watch itself."""
    site, last = night
    at(last + 5)
    shown = type_in("status", "--site", site)
    assert shown.exit_code == 0, shown.stderr
    parts = ("Alarms", "Judged", "Not judged", "Probes", "The watch itself")
    places = [shown.output.index(f"\n{part}\n") for part in parts]
    assert places == sorted(places)
    assert "Tank 2 warm +0." in shown.output and "nobody has it yet" in shown.output
    assert "▲" in shown.output and "no batch: Tank 1" in shown.output
    assert "nobody listens on 127.0.0.1" in shown.output
    assert "last written 5 s ago" in shown.output


def test_a_watch_that_stands_still_is_asked_about(
    night: tuple[Path, float], type_in: Type, at: Callable[[float], None]
) -> None:
    at(night[1] + 3600)
    assert "is the watch running?" in type_in("status", "--site", night[0]).output


def test_a_narrow_window_loses_no_word(
    night: tuple[Path, float], type_in: Type, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "50")
    shown = type_in("status", "--site", night[0]).output
    assert "…" not in shown and "Tank 2" in shown


def test_colour_is_only_an_addition(night: tuple[Path, float], type_in: Type) -> None:
    """NO_COLOR is kept to, and the signs say it all."""
    assert "\x1b[" not in type_in("status", "--site", night[0]).output


def test_a_script_gets_json(night: tuple[Path, float], type_in: Type) -> None:
    told = json.loads(type_in("status", "--json", "--site", night[0]).stdout)
    assert told["standing"][0]["alarm"] == "tank-2/warm"
    assert re.fullmatch(r"2026-\d\d-\d\dT[\d:.]+\+09:00", told["asked"])
    assert {"judged", "not_judged", "probes", "journal", "courier", "broker"} <= set(told)


def test_the_long_history_has_a_line_of_its_own(
    tmp_path: Path, type_in: Type, at: Callable[[float], None]
) -> None:
    """How far it is behind, and what the engine would not take."""
    live_through("slow-drift", tmp_path / "data" / "kuraban.journal", share=0.2)
    table = '[history]\nurl = "http://127.0.0.1:1"\nbucket = "sake"\n'
    site = site_file(tmp_path, port=free_port(), more=table)
    history = History(tmp_path / "data" / "kuraban.journal")
    at((history.now() or 0.0) + 3 * 3600)
    history.close()
    shown = type_in("status", "--site", site).output
    assert "  history  http://127.0.0.1:1, " in shown and "rows wait, the first came" in shown
    held = Forwarded(tmp_path / "data" / "kuraban.journal", "http://127.0.0.1:1 kuraban/sake")
    held.move(50_000, [SetAside(3, "reading …", "it answered 422, too old")])
    held.close()
    shown = type_in("status", "--site", site).output
    assert "http://127.0.0.1:1, nothing waits" in shown
    assert "1 point was refused and set aside, the last: it answered 422, too old" in shown


def test_without_a_journal_it_says_what_to_do(site: Path, type_in: Type) -> None:
    """And ends with 3; nothing is made."""
    shown = type_in("status", "--site", site)
    assert shown.exit_code == 3
    assert "kuraban run" in shown.stderr and shown.stderr.count("\n") == 1
    assert not (site.parent / "data").exists()


@pytest.mark.parametrize(
    "words",
    [("status",), ("history", "tank-2"), ("report",), ("report", "calls"),
     ("reckon", "left", "tank-2"), ("duty", "show"), ("journal", "verify")],
    ids=" ".join,
)  # fmt: skip
@pytest.mark.parametrize("crafted", ["a pickle", "a graph"])
def test_a_crafted_checkpoint_runs_nothing(
    tmp_path: Path, type_in: Type, at: Callable[[float], None], words: tuple[str, ...], crafted: str
) -> None:
    """Whoever asks, also as root, reads data: the answer comes from the facts."""
    path, made = tmp_path / "data" / "kuraban.journal", tmp_path / "made"
    live_through("slow-drift", path, share=0.9)
    shapes = [["os.mkdir", "path"]]
    graph = {"pages": [[[0, str(made)]]], "shapes": shapes}
    blobs = {
        "a pickle": pickle.dumps(Evil(made)),
        "a graph": msgspec.msgpack.encode(
            {"kuraban": 1, "standing": {"version": 1, "now": 1.0}, "memory": graph}
        ),
    }
    journal = Journal.open(path)
    now = journal.now() or 0.0
    journal.commit(Turn(now=now), Checkpoint(version(), blobs[crafted]))
    journal.close()
    at(now + 5)
    shown = type_in(*words, "--site", site_file(tmp_path, port=free_port()))
    assert shown.exit_code == (1 if words[0] == "journal" else 0), shown.output
    assert not made.exists()
