"""What is asked of a place that runs: how long it holds, how far it is, its next work."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.cli import reckon_place
from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.planned_curve import NEVER
from kuraban.core.units import parse_time
from kuraban.queries.batches.progress import Progress, proposed
from kuraban.recording import merged
from kuraban.store.history import History
from kuraban.trade.density import forecast_zero
from tests.cli.conftest import Type
from tests.journals import live_through, recording, site_file


def lived(folder: Path, night: str, share: float, *, samples: str | None = None) -> Path:
    """Site file of a watch that lived through a part of a night; perhaps with two samples."""
    facts: list[Logged] = []
    if samples is not None:
        first = next(merged([recording(night)], lambda bad: None, lambda size: None)).at
        for day, baume, alcohol in ((2, 5.6, 9.0), (1, 4.8, 9.9)):
            at = first - day * 86400
            facts.append(
                Logged(f"s{day}", samples, e.Sample(baume=baume, alcohol=alcohol), at, first + 9000)
            )
    live_through(night, folder / "data" / "kuraban.journal", share=share, between=tuple(facts))
    return site_file(folder)


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return lived(tmp_path_factory.mktemp("demo"), "demo-night", 0.8, samples="tank-1")


@pytest.fixture
def asking(monkeypatch: pytest.MonkeyPatch) -> Callable[[Path], None]:
    """Somebody asks five seconds after the watch last wrote."""

    def be(site: Path) -> None:
        history = History(site.parent / "data" / "kuraban.journal")
        last = history.now() or 0.0
        history.close()
        monkeypatch.setattr(reckon_place, "clock", lambda: last + 5)

    return be


def test_how_long_a_tank_holds_is_told_with_what_it_rests_on(
    night: Path, type_in: Type, asking: Callable[[Path], None]
) -> None:
    asking(night)
    shown = type_in("reckon", "left", "tank-2", "--site", night)
    assert shown.exit_code == 0, shown.stderr
    for part in ("if cooling stopped now", "to its limit", "warm-ups seen", "own warm-ups", "K/h",
                 "to spare", "come first"):  # fmt: skip
        assert part in shown.output
    assert "is the watch running?" not in shown.output


def test_the_heat_of_the_ferment_is_told_where_samples_tell_it(
    night: Path, type_in: Type, asking: Callable[[Path], None]
) -> None:
    """About 100 W in a cubic metre for 1 % a day: Colombié et al. 2007."""
    asking(night)
    assert " W" in type_in("reckon", "left", "tank-1", "--site", night).output


def test_a_guess_says_that_it_is_one(
    night: Path, type_in: Type, asking: Callable[[Path], None]
) -> None:
    """Tank 5's valve is stuck, so it never warmed up by itself while shut."""
    asking(night)
    assert "lets no alarm wait" in type_in("reckon", "left", "tank-5", "--site", night).output


def test_a_watch_that_stands_still_is_asked_about(night: Path, type_in: Type) -> None:
    assert "is the watch running?" in type_in("reckon", "left", "tank-2", "--site", night).output


def test_a_script_gets_the_progress_as_json(night: Path, type_in: Type) -> None:
    told = json.loads(type_in("reckon", "progress", "tank-1", "--json", "--site", night).stdout)
    assert told["samples"] and parse_time(told["samples"][0]["at"]) < parse_time(
        told["tomorrow"][0]
    )
    assert told["proposed"]["at"] == told["tomorrow"][0] and told["proposed"]["why"]


def test_the_progress_is_a_table_a_forecast_and_a_hint(
    night: Path, type_in: Type, asking: Callable[[Path], None]
) -> None:
    asking(night)
    shown = type_in("reckon", "progress", "tank-1", "--site", night)
    assert shown.exit_code == 0, shown.stderr
    for part in (
        "Baume",
        "BMD",
        "4.8",
        "−48",
        "A-B",
        "Tomorrow morning the plan has",
        "come first",
    ):
        assert part in shown.output
    assert (
        "No samples are logged" in type_in("reckon", "progress", "tank-2", "--site", night).output
    )


def told_of(read: list[tuple[float, float]], ends: float) -> str:
    """What `progress` says at last of a mash with these moromi days and Baume."""
    found = Progress(samples=(), today=None, zero=forecast_zero(read), corrected=None, slope=None,
                     ends=ends, tomorrow=(0.0, 10.0))  # fmt: skip
    return "\n".join(reckon_place._forecast(found, proposed(found, None, NEVER, 0.0)))


DIARY = [(6.4, 4.0), (7.4, 3.2), (8.4, 2.9), (9.4, 2.4), (10.4, 1.9), (11.4, 1.5), (12.4, 1.1)]
"""One junmai batch in a brewer's diary, zero about day 15 of 20 (common practice)."""
SLOW = [(float(day), round(8.6 * 0.93 ** (day - 3) - 1.05, 1)) for day in range(3, 33)]
"""Invented: a ginjo on its way to zero on day 32 of a course of 34."""


@pytest.mark.parametrize(("read", "ends"), [(DIARY, 20.0), (SLOW, 34.0)])
def test_a_mash_that_arrives_on_time_is_never_told_to_be_warmed(
    read: list[tuple[float, float]], ends: float
) -> None:
    """Nor cooled, on any of its days: a wide range advises nothing."""
    for count in range(2, len(read) + 1):
        told = told_of(read[:count], ends)
        assert "usual" not in told, told
    assert "Baume zero about day" in told


def test_a_range_has_a_width_after_one_step(tmp_path: Path) -> None:
    told = told_of(DIARY[:2], 20.0)
    found = re.search(r"about day \d+ \((\d+) to (\d+):", told)
    assert found is not None
    assert int(found[2]) - int(found[1]) > 7


@pytest.mark.parametrize(("ends", "advice"), [(31.0, "warmer"), (41.0, "colder"), (33.0, "goes")])
def test_a_narrow_forecast_that_misses_its_course_is_told(ends: float, advice: str) -> None:
    """Zero on day 32 where the course ends on day 31, 41 or 33; taste and smell come first."""
    assert advice in told_of(SLOW[:29], ends)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("left", "tank-9"), "there is no place"),
        (("left", "cellar"), "log its batch-start"),
        (("koji", "tank-1"), "is no koji bed"),
    ],
)
def test_a_place_that_does_not_run_is_refused_in_one_line(
    words: tuple[str, ...], told: str, night: Path, type_in: Type, asking: Callable[[Path], None]
) -> None:
    asking(night)
    refused = type_in("reckon", *words, "--site", night)
    assert refused.exit_code == 2 and told in refused.stderr


def test_without_a_journal_there_is_nothing_to_ask(type_in: Type, site: Path) -> None:
    refused = type_in("reckon", "left", "tank-1", "--site", site)
    assert refused.exit_code == 3 and "there is no journal" in refused.stderr


def test_two_weights_of_the_koji_tell_the_water_that_left(
    type_in: Type, asking: Callable[[Path], None], tmp_path: Path
) -> None:
    """133 kg of steamed rice that became 117: 14.1 kg of water left, 4.3 kg of starch burned, some
    520 W over 40 hours (by hand in tests/trade/test_koji.py)."""
    site = lived(tmp_path, "koji-night", 0.6)
    asking(site)
    words = ("--weighed", "133", "117", "--over", "40")
    shown = type_in("reckon", "koji", "koji-bed-1", *words, "--site", site)
    assert "14.1 kg, 11 %; burned about 4.3 kg of starch" in shown.output
    assert "made about 523 W, of which 23" in shown.output
    told = json.loads(
        type_in("reckon", "koji", "koji-bed-1", *words, "--json", "--site", site).stdout
    )
    assert (round(told["water_kg"], 1), round(told["made_watts"])) == (14.1, 523)
    times = [told["at"], told["due"], *(one["at"] for one in told["last"])]
    assert all(parse_time(at) > 0 and at[-6] in "+-" for at in times), "RFC 3339 with an offset"
    assert len(told["reached"]) == 2 and told["slow"] <= told["fast"]


def test_the_next_work_on_the_koji_by_its_own_rise(
    tmp_path: Path, type_in: Type, asking: Callable[[Path], None]
) -> None:
    site = lived(tmp_path, "koji-night", 0.6)
    asking(site)
    shown = type_in("reckon", "koji", "koji-bed-1", "--site", site)
    assert shown.exit_code == 0, shown.stderr
    assert "ask for its next work" in type_in("reckon", "left", "koji-bed-1", "--site", site).output
    for part in ("Koji bed 1", "K/h", "The course expects it at", "moved the bed", "come first"):
        assert part in shown.output
