"""The watch as it was at a moment: the same as the one that lived through it."""

from __future__ import annotations

from pathlib import Path

import pytest

from kuraban.core.effects import Step, Turn
from kuraban.runtime.checkpoint.document import freeze
from kuraban.runtime.past_moment import as_it_was, begins
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from kuraban.store.journal import Journal
from tests.journals import live_through

WORDS = load_words()


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Step]]:
    path = tmp_path_factory.mktemp("night") / "kuraban.journal"
    return path, [one for one in live_through("slow-drift", path) if isinstance(one, Step)]


def _go_on() -> None:
    pass


def test_at_every_step_the_alarm_stands_as_it_did(night: tuple[Path, list[Step]]) -> None:
    path, steps = night
    last = {(step.alarm, step.at): step for step in steps}  # some end and begin at one moment
    for step in last.values():
        if step.step not in ("raised", "normal", "returned"):
            continue
        engine = as_it_was(path, WORDS, step.at, _go_on)
        assert engine.now == step.at
        stands = (step.subject, step.condition) in engine.view.standing
        assert stands is (step.step == "raised"), step


def test_the_last_checkpoint_is_taken_where_it_is_older(tmp_path: Path) -> None:
    """And a later one is not: nothing of what came after may be known."""
    path = tmp_path / "kuraban.journal"
    live_through("slow-drift", path, share=0.5)
    with_history = History(path)
    last = with_history.now() or 0.0
    with_history.close()
    plain = as_it_was(path, WORDS, last, _go_on)
    journal = Journal.open(path)
    journal.commit(Turn(now=last), freeze(plain))
    journal.close()
    asked: list[float] = []
    kept = as_it_was(path, WORDS, last, lambda: asked.append(0.0))
    assert not asked, "no fact was lived through again"
    assert kept.view.standing == plain.view.standing
    assert kept.view.places["tank-2"].value == plain.view.places["tank-2"].value
    before = as_it_was(path, WORDS, last - 3600, lambda: asked.append(0.0))
    assert asked and before.now == last - 3600


def test_whoever_asks_may_stop(night: tuple[Path, list[Step]]) -> None:
    def enough() -> None:
        raise TimeoutError

    with pytest.raises(TimeoutError):
        as_it_was(night[0], WORDS, night[1][-1].at, enough)


def test_what_stood_long_is_lived_through_from_its_beginning(tmp_path: Path) -> None:
    """Not from fourteen hours before: since when it is outside would be told too late."""
    path = tmp_path / "kuraban.journal"
    live_through("slow-drift", path)
    history = History(path)
    begun, last = history.begun() or 0.0, history.now() or 0.0
    first = min(step.at for step in history.standing(last + 20 * 3600))
    assert begins(history, last) == begun, "the whole night is shorter than that"
    assert begins(history, last + 20 * 3600) == max(begun, first - 3 * 3600)
    history.close()
