"""A house that is told 20,000 things, some of them wild, and killed amid them again and again.

    python -m tests.attacks.taken [TAKEN [SEED]]

Whatever the door takes is written, read, restarted, replayed and exported; one line says what it
came to, and what did not hold is named.
"""

from __future__ import annotations

import csv
import json
import logging
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

from typer.testing import CliRunner

from kuraban.cli import command_line
from kuraban.core.engine.engine import Engine
from kuraban.core.entries import KINDS
from kuraban.core.facts import Fact, HouseChanged, Logged, Reading
from kuraban.core.intake.wire import Wire
from kuraban.core.site import House, to_document
from kuraban.queries.journal_to_recording import line_text, retell
from kuraban.recording import merged
from kuraban.replay import Player
from kuraban.runtime import feed, freeze, recover, run_to
from kuraban.runtime.checkpoint.contents import Unreadable, contents
from kuraban.runtime.checkpoint.document import version
from kuraban.settings.catalogues import load_words
from kuraban.store.history import History
from kuraban.store.journal import Checkpoint, Journal
from kuraban.store.upkeep.integrity import inspect
from tests.journals import house, site_file
from tests.store.test_rows import FIELDS, OWN

BEGINS = 1_770_721_200.0
"""2026-02-10 20:00 in Japan."""
TURN, KILLS = 50, 400
"""Messages of a turn, and about how many between two kills."""
WORDS = load_words()
TIMES = (
    BEGINS + 600, BEGINS - 86400, BEGINS + 400 * 86400, 0, -1, 1e11, 1.7e12, 4_102_444_799,
    "2026-02-10T21:00:00+09:00", "2099-12-31T23:59:59Z", "6026-12-01T00:00:00+09:00",
    "0001-01-01T00:00:00+14:00", "2026-02-30T00:00:00Z", "2026-02-10T21:00:00.123456-12:00",
)  # fmt: skip
NUMBERS = (
    0, -0.0, 10.4, 10.5, 13.2, -1.5, 85, 4095, 1e-300, 1e308, -273.15, 2**63, 10**400, 0.1 + 0.2,
    float("nan"), float("inf"), True, "10.4", "１０．５",
)  # fmt: skip
TEXTS = (
    "No. 13", "仕込み 第七号", "=1+1", "[/x]", "\u202e3", "a\x00b", "\x1b[2J", "x" * 200,
    "x" * 5000, "", " ", "👍🏽", "e\u0301", "\ud800", "tank-4", "aki", "30m", "0s", "999d", "-1h",
    "right", "warm",
)  # fmt: skip
WILD: tuple[object, ...] = (*TIMES, *NUMBERS, *TEXTS, None, [], {}, [1], {"a": 1}, ["tank-4"])


class Teller:
    """Messages as a crew, its probes and whoever has a password might send them."""

    def __init__(self, told: House, seed: int) -> None:
        self.lot, self.now = random.Random(seed), BEGINS
        self.places = [place.id for place in told.places]
        self.subjects = [*self.places, *(c.id for c in told.coolers), *(p.id for p in told.probes)]
        self.probes = [probe.id for probe in told.probes]
        self.courses = [course.id for course in told.courses]
        self.ids = ["e1"]

    def tell(self) -> tuple[str, bytes]:
        self.now = round(self.now + self.lot.expovariate(1 / 20), 3)
        if self.lot.random() < 0.5:
            probe = self.lot.choice(self.probes)
            return f"kura/reading/{probe}", self._reading(probe)
        subject = self.lot.choice([*self.subjects, "watch", "nowhere"])
        return f"kura/log/{subject}", self._dumped(self._entry())

    def _dumped(self, told: object) -> bytes:
        text = json.dumps(told, ensure_ascii=self.lot.random() < 0.5)
        return text.encode("utf-8", "surrogatepass")

    def _reading(self, probe: str) -> bytes:
        lot = self.lot
        value = 10.4 + lot.gauss(0, 0.3) if lot.random() < 0.85 else lot.choice(NUMBERS)
        at = self.now - lot.expovariate(1 / 600) if lot.random() < 0.9 else lot.choice(TIMES)
        return self._dumped(
            lot.choice(
                (
                    value,
                    {"value": value, "at": at},
                    [{"n": probe, "v": value, "t": -30}, {"n": probe, "v": value}],
                )
            )
        )

    def _entry(self) -> dict[str, object]:
        lot, kind = self.lot, self.lot.choice(KINDS)
        told: dict[str, object] = {**FIELDS, **OWN.get(kind, {}), "of": lot.choice(self.ids[-50:])}
        told["course"], told["batch"] = lot.choice(self.courses), f"No. {lot.randrange(40)}"
        if kind != "aim":
            del told["by"]
        for key in [key for key in told if lot.random() < 0.1]:
            del told[key]
        for key in lot.sample(
            sorted({*told, "since", "at", "who", "id"}), lot.choice((0, 0, 0, 1, 2))
        ):
            told[key] = lot.choice(WILD)
        if lot.random() < 0.6:
            told["at"] = self.now - lot.expovariate(1 / 3600)
        if lot.random() < 0.6:
            told.setdefault("who", lot.choice(("aki", "ken", "mio", "sho", "nobody")))
        told.setdefault("id", f"e{len(self.ids)}")
        self.ids.append(str(told["id"]))
        return {"entry": kind, **told}


@dataclass
class Life:
    """What a house came through. `broken` names what did not hold; the rest are counts."""

    told: int = 0
    readings: int = 0
    entries: int = 0
    kills: int = 0
    broken: list[str] = field(default_factory=list)

    @property
    def taken(self) -> int:
        return self.readings + self.entries


class Watched:
    """An engine and its journal, as the watch has them, without broker and phones."""

    def __init__(self, folder: Path, life: Life) -> None:
        self.life, self.found = life, house()
        self.path = folder / "data" / "kuraban.journal"
        self.wire, self.written = Wire(self.found, "kura"), list[Fact]()
        self.engine, self.journal = Engine(WORDS), Journal.open(self.path)
        self.take(HouseChanged(BEGINS, to_document(self.found)))

    def take(self, fact: Fact) -> None:
        if not feed(self.engine, fact):
            self.life.broken.append(f"not taken without a fault: {fact}")

    def turn(self, now: float, *, keep: bool) -> None:
        if not run_to(self.engine, now):
            self.life.broken.append(f"a deadline fails at {now}")
        turn, kept = self.engine.drain(), freeze(self.engine) if keep else None
        self.journal.commit(turn, None if kept is None else Checkpoint(version(), bytes(kept.blob)))
        self.written += [fact for fact in turn.facts if isinstance(fact, (Logged, Reading))]

    def killed(self) -> None:
        """What lay on the disk at one moment is all that is left."""
        known = {one.id for one in self.engine.view.entry_log.log}
        for tail in ("", "-wal"):
            name = self.path.name + tail
            shutil.copy(self.path.with_name(name), self.path.with_name(f"kept{tail}"))
        self.journal.close()
        for tail in ("-wal", "-shm"):
            self.path.with_name(self.path.name + tail).unlink(missing_ok=True)
        for tail in ("", "-wal"):
            self.path.with_name(f"kept{tail}").rename(self.path.with_name(self.path.name + tail))
        self.journal = Journal.open(self.path)
        self.engine = recover(self.journal, WORDS)
        self.wire.house = self.engine.view.house
        again = {one.id for one in self.engine.view.entry_log.log}
        if again != known:
            self.life.broken.append(f"a restart knows other entries: {sorted(again ^ known)[:5]}")
        self.life.kills += 1


def live(folder: Path, count: int, seed: int) -> Life:
    """Tell a house in `folder` things until it has taken `count`; what came of it."""
    life, faults = Life(), _Faults()
    logging.getLogger("kuraban").addHandler(faults)
    try:
        watched = Watched(folder, life)
        teller, lot = Teller(watched.found, seed), random.Random(-seed)
        while life.taken < count:
            topic, payload = teller.tell()
            facts = watched.wire.read(topic, payload, teller.now)
            life.told += 1
            life.readings += sum(isinstance(fact, Reading) for fact in facts)
            life.entries += sum(isinstance(fact, Logged) for fact in facts)
            for fact in facts:
                watched.take(fact)
            if life.told % TURN == 0 or life.taken >= count:
                watched.turn(teller.now, keep=lot.random() < 0.2)
                if lot.random() < TURN / KILLS or life.taken >= count:
                    watched.killed()
        watched.journal.close()
        life.broken += faults.told
        life.broken += _looked_at(folder, watched, teller.now)
    finally:
        logging.getLogger("kuraban").removeHandler(faults)
    return life


class _Faults(logging.Handler):
    """A fault of ours is written to the log and stops nothing, so nobody would notice."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.told: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        why = "" if record.exc_info is None else f" ({record.exc_info[1]!r})"
        self.told.append(record.getMessage() + why)


def _looked_at(folder: Path, watched: Watched, now: float) -> Iterator[str]:
    """Everything that somebody might do with such a journal."""
    path, found = watched.path, watched.found
    sound = inspect(path, ZoneInfo("Asia/Tokyo"))
    yield from (f"verify: {fault}" for fault in sound.faults)
    if isinstance(kept := contents(path), Unreadable):
        yield f"its kept state cannot be read: {kept.why}"
    with closing(History(path)) as history:
        read = [fact for _, fact in history.facts_after(0) if isinstance(fact, (Logged, Reading))]
        waiting = iter(read)
        ahead, left_out = next(waiting, None), 0
        for fact in watched.written:  # in their order, but for what the journal had already
            if fact == ahead:
                ahead = next(waiting, None)
            else:
                left_out += 1
        if ahead is not None or left_out != history.counts().duplicates:
            yield f"{len(watched.written)} facts written, {len(read)} others read"
        recording = folder / "again.jsonl"
        lines = (line_text(line, found.zone) for line in retell(history, "kura", None, None))
        recording.write_text("\n".join(lines) + "\n", "utf-8")
    yield from _replayed(recording, found, read)
    yield from _asked(folder, found, now)
    with closing(Journal.open(path)) as journal:
        journal.drop_checkpoint()
        anew = recover(journal, WORDS)
        again = {one.id for one in anew.view.entry_log.log}
        known = {one.id for one in watched.engine.view.entry_log.log}
        if not again >= known:
            yield f"built anew it lacks entries: {sorted(known - again)[:5]}"


def _replayed(recording: Path, found: House, read: list[Logged | Reading]) -> Iterator[str]:
    bad: list[str] = []
    player = Player(found, "kura", WORDS)
    for message in merged([recording], lambda line: bad.append(line.reason), lambda size: None):
        player.play(message)
    if bad:
        yield f"{len(bad)} lines of its recording cannot be read: {bad[0]}"
    taken = sum(isinstance(f, (Logged, Reading)) for f in player.engine.drain().facts)
    if taken != len(read):
        yield f"a replay takes {taken} of {len(read)} facts"


def _asked(folder: Path, found: House, now: float) -> Iterator[str]:
    site, places = site_file(folder), [place.id for place in found.places]
    batches = _batches(folder / "data" / "kuraban.journal")
    commands: list[tuple[str, ...]] = [("status",), ("status", "--json"), ("report",)]
    commands += [("history", place, "--since", "30d", "--csv") for place in places]
    commands += [
        ("batch", "export", name, "--out", str(folder / f"batch-{n}"))
        for n, name in enumerate(batches)
    ]
    for words in commands:
        done = CliRunner().invoke(command_line(), [*words, "--site", str(site)])
        if done.exit_code == 2 and "no batch" in done.output:
            continue  # a start that was refused began none
        if done.exit_code or (done.exception and not isinstance(done.exception, SystemExit)):
            why = f"{done.exit_code} {done.exception!r} {done.output[-300:]}"
            yield f"kuraban {' '.join(words)}: {why}"
    yield from _unsafe(folder.glob("batch-*/*.csv"))


def _batches(path: Path) -> list[str]:
    with closing(History(path)) as history:
        told = (fact for _, fact in history.facts_after(0) if isinstance(fact, Logged))
        names = {getattr(one.entry, "batch", None) for one in told}
    return sorted(name for name in names if isinstance(name, str))[:8]


def _unsafe(paths: Iterable[Path]) -> Iterator[str]:
    for path in paths:
        with path.open(encoding="utf-8-sig", newline="") as file:
            for row in csv.reader(file):
                for cell in row:
                    if cell.startswith(("=", "@", "\t")):
                        yield f"{path.name}: a formula: {cell[:40]}"


def main(count: int, seed: int) -> int:
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        life = live(Path(folder), count, seed)
    print(
        f"seed {seed}: {life.told:,} told, {life.readings:,} readings and {life.entries:,} entries"
        f" taken, {life.kills} kills, {time.monotonic() - began:.0f} s; broken: {len(life.broken)}"
    )
    for one in life.broken[:40]:
        print(f"  {one[:400]}")
    return bool(life.broken)


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in (*sys.argv[1:3], *("20000", "1")[len(sys.argv) - 1 :]))))
