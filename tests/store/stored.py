"""Journals as earlier versions left them, packed in `journals/`, and how one is made.

    python -m tests.store.stored

A night of the invented brewery, lived through by the code as it stands and packed under the number
of its schema. Whoever adds a migration makes one first, with the code before it; one that is there
is never made anew.
"""

from __future__ import annotations

import lzma
import sqlite3
import sys
import tempfile
from pathlib import Path

from kuraban.core.effects import Turn
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import ClockStepped, Delivered, Impaired, Logged
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.units import MINUTE
from kuraban.runtime import freeze, recover
from kuraban.settings.catalogues import load_words
from kuraban.store.journal import Journal
from kuraban.store.outbox import Outbox
from tests.journals import live_through

NIGHT = "mangled"
KEPT = Path(__file__).parent / "journals"


def stored() -> list[Path]:
    """The packed journals, oldest schema first."""
    return sorted(KEPT.glob("schema-*.sqlite.xz"))


def unpack(packed: Path, to: Path) -> Path:
    """The journal as it was left, at `to`."""
    to.write_bytes(lzma.decompress(packed.read_bytes()))
    return to


def live(path: Path) -> None:
    """A night at `path` with everything that a journal holds: entries of every fate, one page sent,
    one part failing, the wall clock set back a little, the watch's own state at a clean stop."""
    live_through(NIGHT, path)
    journal, outbox = Journal.open(path), Outbox(path)
    engine = recover(journal, load_words())
    now = journal.now() or 0.0
    row = outbox.waiting("aki", now + 1e6)[0]
    outbox.claim(row.id, now)
    outbox.tried(row.id, "json", now, sent=True)
    outbox.sent(row.id, now)
    now = tell_entries(engine, now)
    result = Delivered(row.id, "aki", now, now, True)
    step = ClockStepped(now, -30.0, -30.0, now - 3600.0)
    for fact in (result, Impaired("broker", True, now), Impaired("broker", False, now), step):
        engine.take(fact)
    journal.commit(engine.drain(), freeze(engine))
    journal.commit(Turn(now=now + 1.0))
    outbox.close()
    journal.close()


def tell_entries(engine: Engine, now: float) -> float:
    """Entries that count, that are put right, that wait, and that do not fit; when it is after.

    Mio and Ken are no brewers: what would stop the watch over a batch, if they say it, waits.
    """
    told: list[tuple[str, dict[str, object]]] = [
        ("tank-3", {"entry": "stir", "id": "x-stir", "by": "mio"}),
        ("tank-3", {"entry": "take-back", "id": "x-back", "of": "x-stir", "by": "mio"}),
        ("tank-3", {"entry": "addition", "id": "x-ice", "what": "ice", "kg": 20.0, "by": "mio"}),
        ("tank-3", {"entry": "amend", "id": "x-amend", "of": "x-ice", "kg": 30.0, "by": "mio"}),
        ("starter-1", {"entry": "batch-end", "id": "x-none"}),
        ("tank-2", {"entry": "batch-end", "id": "x-slip", "by": "mio"}),
        ("tank-2", {"entry": "take-back", "id": "x-sorry", "of": "x-slip", "by": "mio"}),
        ("tank-2", {"entry": "out-of-service", "id": "x-out", "by": "mio"}),
        ("tank-2", {"entry": "confirm", "id": "x-yes", "of": "x-out", "by": "aki"}),
        ("tank-3", {"entry": "stage", "id": "x-waits", "stage": "naka", "by": "mio"}),
    ]
    for place, fields in told:
        now += MINUTE
        logged = entry_from(fields, place, engine.view.house, now, "page")
        assert isinstance(logged, Logged), logged
        engine.take(logged)
    return now


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "kuraban.journal"
        live(path)
        db = sqlite3.connect(path)
        schema = db.execute("PRAGMA user_version").fetchone()[0]
        db.execute("PRAGMA journal_mode = DELETE")
        db.execute("VACUUM")
        db.close()
        packed = KEPT / f"schema-{schema}.sqlite.xz"
        if packed.exists():
            sys.exit(f"{packed}: is there already; a stored journal is never made anew")
        packed.write_bytes(lzma.compress(path.read_bytes(), preset=9 | lzma.PRESET_EXTREME))
    print(f"{packed}: {packed.stat().st_size:,} bytes")


if __name__ == "__main__":
    main()
