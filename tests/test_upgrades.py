"""The watch goes on from a journal that an earlier version left, and makes what is old shorter."""

from __future__ import annotations

import dataclasses
from contextlib import closing
from pathlib import Path

import pytest
from typer.testing import CliRunner

from kuraban.cli import command_line, status
from kuraban.cli import history as cli_history
from kuraban.core.units import DAY, HOUR
from kuraban.queries import journal_state as state
from kuraban.runtime import watch as service
from kuraban.runtime.watch import JOURNAL
from kuraban.settings import Keep
from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests.broker import Mosquitto
from tests.journals import site_file
from tests.nights import QUICK, Evening, wait
from tests.sink import Sink
from tests.store.stored import stored, unpack


@pytest.mark.parametrize("packed", stored(), ids=lambda path: path.name)
def test_the_watch_starts_from_it(tmp_path: Path, packed: Path) -> None:
    """It knows what ran and what stood, hears what comes, and leaves a sound journal."""
    (tmp_path / "data").mkdir()
    path = unpack(packed, tmp_path / "data" / JOURNAL)
    with closing(History(path)) as history:
        left, entries = history.now() or 0.0, list(history.entries(None, 0, 2e9))
        standing = history.standing()
    with Mosquitto(tmp_path, without=QUICK) as broker, Sink() as sink:
        evening = Evening(broker, sink, tmp_path / "data", left + 30.0)
        with evening.watching() as watch:
            evening.catch_up(watch)
            known = watch.engine.entry_handler.known
            assert entries and all(logged.key in known for logged in entries)
            alarms = {f"{subject}/{what}" for subject, what in watch.engine.alarm_manager.alarms}
            assert alarms >= {step.alarm for step in standing}
        evening.close()
    journal = Journal.open(path)
    assert journal.verify() == []
    journal.close()


@pytest.mark.parametrize("packed", stored(), ids=lambda path: path.name)
def test_it_can_be_asked_before_and_after(
    tmp_path: Path, packed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the upgrade and the restart of the watch too."""
    (tmp_path / "data").mkdir()
    path, site = unpack(packed, tmp_path / "data" / JOURNAL), site_file(tmp_path)
    with closing(History(path)) as history:
        left = history.now() or 0.0
    for module in (state, status, cli_history):
        monkeypatch.setattr(module, "clock", lambda: left)
    before = [asked("status", site), asked("history", "tank-2", "--since", "12h", site)]
    Journal.open(path).close()
    after = [asked("status", site), asked("history", "tank-2", "--since", "12h", site)]
    assert before[1] == after[1] and "tank-2" in after[0].lower().replace(" ", "-")


def asked(command: str, *words: object) -> str:
    site = words[-1]
    found = CliRunner().invoke(
        command_line(), [command, *map(str, words[:-1]), "--site", str(site)]
    )
    assert found.exit_code == 0, found.output
    return found.output


def test_what_is_old_becomes_short_while_it_watches(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In idle moments, without anybody asking; no extreme is lost."""
    monkeypatch.setattr(service, "NEAR", 0.0)
    (tmp_path / "data").mkdir()
    path = unpack(stored()[-1], tmp_path / "data" / JOURNAL)
    with closing(History(path)) as history:
        left = history.now() or 0.0
        before = [value for _, value in history.readings("store-air", 0, left + 1)]
    with Mosquitto(tmp_path, without=QUICK) as broker, Sink() as sink:
        evening = Evening(broker, sink, tmp_path / "data", left + 3 * DAY)
        evening.settings = dataclasses.replace(evening.settings, keep=Keep(HOUR, 100 * DAY))
        with evening.watching() as watch:
            evening.catch_up(watch)
            wait(lambda: whole_from(path) is not None)
        evening.close()
    with closing(History(path)) as history:
        after = [value for _, value in history.readings("store-air", 0, left + 1)]
        assert history.shortened(["store-air"], 0, left)
    assert (min(after), max(after)) == (min(before), max(before))


def whole_from(path: Path) -> float | None:
    with closing(History(path)) as history:
        return history.whole_from()
