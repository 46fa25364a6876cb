"""Rows of the journal as records of the folder."""

from __future__ import annotations

import json

from kuraban.core import entries as e
from kuraban.core.facts import EntryOutcome, Logged
from kuraban.core.plan.counted_entries import ToldEntry
from kuraban.core.site import to_document
from kuraban.edges.history.folder_records import TABLES, Records
from kuraban.store.forwarded import Rows
from tests.journals import house

AT = 1_769_900_000.0


def test_a_record_has_no_column_that_its_table_has_not() -> None:
    """And names the batch that stood there then, also of a reading before and after its end."""
    start = Logged("a", "tank-3", e.BatchStart(batch="8", course="moromi-slow-33"), AT, AT, "aki")
    counted = ToldEntry(start, EntryOutcome("tank-3", "a", "counted", AT))
    events = [(1, to_document(house())), (2, start), (3, counted)]
    found = [(4, "t3-mid", AT + 60, 10.5), (5, "t4-mid", AT + 60, 9.5)]
    numbers, lines = Records("kura").of(Rows(5, found, events))  # type: ignore[arg-type]
    assert numbers == [2, 3, 4, 5]
    told = [(table, json.loads(text)) for table, _, text in (one.partition("\t") for one in lines)]
    assert all({*record} <= {*TABLES[table][0], *TABLES[table][1]} for table, record in told)
    assert told[2][1] == {
        "site": "kura", "probe": "t3-mid", "place": "tank-3", "measures": "product", "batch": "8",
        "value": 10.5, "time": AT + 60,
    }  # fmt: skip
    assert "batch" not in told[3][1]
