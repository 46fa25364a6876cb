"""Readings in full out of the folder of the long history, where the journal has summaries."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

from kuraban.core.effects import Turn
from kuraban.core.facts import HouseChanged, Reading
from kuraban.core.site import to_document
from kuraban.core.units import DAY, HOUR
from kuraban.edges.history.folder_merge import merge
from kuraban.edges.history.folder_writer import FolderWriter
from kuraban.queries.full_readings import FullReadings
from kuraban.store.history import History
from kuraban.store.journal import Journal
from kuraban.store.upkeep.retention import Bounds
from tests.journals import house

AT = 1_769_900_400.0


def test_a_summary_gives_way_to_what_the_folder_has(tmp_path: Path) -> None:
    """What is younger than the folder's last is the journal's; without a folder all of it is."""
    path, every = tmp_path / "kuraban.journal", 10.0
    facts = [Reading("t3-mid", AT + n * every, 10.0 + n / 100, AT + n * every) for n in range(720)]
    journal = Journal.open(path)
    journal.commit(Turn(now=AT + 3 * DAY, facts=[HouseChanged(AT, to_document(house())), *facts]))
    while journal.summarise(Bounds(AT + 3 * DAY, AT + HOUR, 0.0)):
        pass
    journal.close()
    told = [(fact.at, fact.value) for fact in facts]
    with closing(History(path)) as history:
        full = FullReadings(history, tmp_path / "months", house())
        assert len(list(full("t3-mid", AT, AT + DAY))) < 720 and not full.served
        FolderWriter(tmp_path / "months").write(
            [f'readings\t{{"probe":"t3-mid","time":{at},"value":{v}}}' for at, v in told[:500]]
        )
        merge(tmp_path / "months")
        assert list(full("t3-mid", AT, AT + DAY)) == told and full.served == {"t3-mid"}
