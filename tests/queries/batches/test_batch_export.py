"""Everything of a batch, as tables: what was read, entered, corrected, rung and planned."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.units import HOUR, show_time
from kuraban.edges.table_writer import Cell, Table
from kuraban.queries.batches.batch_export import BatchFolder, stays_of
from kuraban.queries.batches.batch_history import BatchHistory
from kuraban.store.history import History
from tests.journals import house
from tests.long_batch import BAUME, NAME, PLACE, SOE, lived_batch, on_day

UNTIL = on_day(8)
ZONE = house().zone


@pytest.fixture(scope="module")
def history(tmp_path_factory: pytest.TempPathFactory) -> Iterator[History]:
    """Eight moromi days; the sample of day 4 amended, that of day 5 taken back, both later."""
    served = lived_batch(tmp_path_factory.mktemp("batch"), UNTIL)
    ids = {
        logged.at: logged.id
        for logged in served.engine.view.entry_log.log
        if isinstance(logged.entry, e.Sample)
    }
    amend = e.Amend(of=ids[on_day(4)], reason="misread", fields={"baume": 7.9})
    gone = e.TakeBack(of=ids[on_day(5)], reason="other tank")
    for number, entry in enumerate((amend, gone)):
        at = UNTIL + number
        served.engine.take(Logged(f"fix-{number}", PLACE, entry, at, at, "mio", "command"))
    served.commit()
    history = History(served.path)
    yield history
    history.close()


@pytest.fixture(scope="module")
def batch_history(history: History) -> BatchHistory:
    found = BatchHistory(house())
    found.catch_up(history)
    return found


@pytest.fixture(scope="module")
def tables(history: History, batch_history: BatchHistory) -> dict[str, list[dict[str, Cell]]]:
    folder = BatchFolder(history, house(), stays_of(batch_history, NAME))
    return {table.name: plain(table) for table in folder.tables()}


def plain(table: Table) -> list[dict[str, Cell]]:
    titles = [column.title for column in table.columns]
    return [dict(zip(titles, row, strict=True)) for row in table.rows]


Tables = dict[str, list[dict[str, Cell]]]


def test_every_reading_of_the_batch_is_there(tables: Tables, history: History) -> None:
    """Of the tank and its valve, and the air of its cellar; each with its unit."""
    product = tables["readings-product"]
    kept = [*history.readings("t3-mid", SOE, UNTIL + 2)]
    assert [(row["time (Unix s)"], row["product (°C)"]) for row in product] == kept
    assert product[0]["time"] == show_time(kept[0][0], ZONE)
    assert tables["readings-air"] and {row["of"] for row in tables["readings-air"]} == {"cellar"}
    assert {row["valve (0 or 1)"] for row in tables["readings-valve"]} == {0.0, 1.0}


def test_a_correction_stands_beside_what_it_corrects(tables: Tables) -> None:
    """The old entry stays as it was entered; who, when and by which way for both."""
    rows = {row["id"]: row for row in tables["entries"]}
    fix = rows["fix-0"]
    old = rows[fix["corrects"]]
    assert (fix["who"], fix["way"]) == ("mio", "command")
    assert old["corrected by"] == "fix-0" and '"baume": 8.2' in str(old["as entered (JSON)"])
    assert rows[rows["fix-1"]["corrects"]]["corrected by"] == "fix-1"


def test_samples_are_as_they_count(tables: Tables) -> None:
    """Amended to what it was, without the one that was another tank's."""
    found = {row["moromi day"]: row["Baumé (°Bé)"] for row in tables["samples"]}
    assert found == {3: BAUME[3], 4: 7.9, 6: BAUME[6], 8: BAUME[8]}


def test_the_plan_and_what_became_of_it(tables: Tables) -> None:
    """The aims of day 7 move the plan from then on; the first plan stays as it was."""
    aims = tables["aims"]
    assert [row["aim (°C)"] for row in aims] == [8.8, 9.4]
    assert {row["who"] for row in aims} == {"aki"}
    redrawn = float(str(aims[0]["time (Unix s)"]))
    for row in tables["plan"]:
        if float(str(row["time (Unix s)"])) < redrawn:
            assert row["planned (°C)"] == pytest.approx(row["first plan (°C)"], abs=0.002)
    assert tables["plan"][-1]["planned (°C)"] != tables["plan"][-1]["first plan (°C)"]


def test_the_sheet_has_a_row_for_every_day(tables: Tables) -> None:
    days = [row["brewery day"] for row in tables["sheet"]]
    assert days == list(range(1, len(days) + 1)) and len(days) == 11


def test_rings_and_messages_are_those_of_the_batch(tables: Tables, history: History) -> None:
    """Steps of its tank, room, coolers and probes, and of the watch itself."""
    mine = {PLACE, "cellar", "chiller-1", "watch"}
    probes = {probe.id for one in mine for probe in house().probes_of(one)}
    rung = {str(row["subject"]) for row in tables["rings"]}
    assert rung and rung <= mine | probes
    told = {message.id for message in history.messages(0, 1e12)}
    assert {row["id"] for row in tables["messages"]} <= told


def test_its_own_course_goes_with_it(history: History, batch_history: BatchHistory) -> None:
    folder = BatchFolder(history, house(), stays_of(batch_history, NAME))
    (name,) = folder.courses()
    assert name == f"course-moromi-slow-33-{PLACE}.json"
    assert folder.running and folder.places == (PLACE,)


def test_a_name_that_nobody_gave_is_no_batch(batch_history: BatchHistory) -> None:
    assert stays_of(batch_history, "No. 99") == []
    assert stays_of(batch_history, NAME, SOE - 48 * HOUR) == []
