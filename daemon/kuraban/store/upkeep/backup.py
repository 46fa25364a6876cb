"""A second copy of the journal, taken while the watch writes, and the way back.

The copy is made by SQLite's online backup, in steps with a breath between them. The reader that it
copies from holds on to the journal as it was at one moment: the watch writes on beside it, without
waiting, and nothing that it writes makes the backup begin anew. What was copied is looked through
before it gets its name; a file of that name is never overwritten.

A restore takes the journal's place only where nobody has it open. The journal that was there stays
beside it under a dated name. A backup may have been in anybody's hands: what would run by itself is
refused (`store.upkeep.integrity`), and the watch's kept state is dropped. No hash vouches for that;
the watch builds it anew from the facts.

The past from before the watch (`store.archive`) is built like a journal, and goes the same ways in
a file of its own. It is large and hardly ever changes: where the copy before holds the same, it
gets the new name too.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import datetime, tzinfo
from itertools import count
from pathlib import Path

from kuraban.errors import JournalError
from kuraban.store.connection import connect, is_there, on_disk, telling
from kuraban.store.journal import Journal
from kuraban.store.upkeep.integrity import Passed, Sound, inspect

PAGES = 2000
"""Pages of a step: two megabytes, which a memory card writes in well under a second."""
BREATH = 0.02
"""Seconds between two steps."""
STAMP = "%Y-%m-%dT%H%M"
"""How a moment is written in a file's name."""
WAITING = 1.0
"""Seconds for which a restore waits for a reader to be done."""


def back_up(
    journal: Path, to: Path, zone: tzinfo, passed: Passed = lambda what, share: None
) -> Sound:
    """Copy the journal to the new file `to`; what was found in the copy.

    JournalError where that cannot be done, where `to` is there already, and where the copy has
    faults: then it lies beside as `<name>.faulty`, since it may be all that is left.
    """
    if not is_there(journal):
        raise JournalError(f"{journal}: there is no journal to back up")
    _free(to)
    part = to.with_name(f".{to.name}.part")
    with _discarding(part):
        with telling(journal, f"back up to {to}"):
            _copy(journal, part, passed)
        sound = inspect(part, zone, passed)
        if sound.faults:
            faulty = _first_free(to, "faulty")
            part.rename(faulty)
            faults = "\n".join(str(fault) for fault in sound.faults)
            raise JournalError(f"{faults}\n{faulty}: the copy, with these faults")
        with telling(to, "name the backup"):
            _name(part, to)
    return sound


def _free(to: Path) -> None:
    if to.exists():
        raise JournalError(f"{to}: is there already; nothing is overwritten: choose another name")


def _copy(journal: Path, part: Path, passed: Passed) -> None:
    part.unlink(missing_ok=True)
    os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    passed("copying", 0.0)
    with closing(connect(journal, "ro")) as source, closing(sqlite3.connect(part)) as target:
        source.execute("BEGIN")
        source.execute("SELECT seq FROM state").fetchone()

        def copied(_status: int, left: int, total: int) -> None:
            passed("copying", 1 - left / max(total, 1))

        source.backup(target, pages=PAGES, progress=copied, sleep=BREATH)
        target.execute("PRAGMA journal_mode = DELETE")
    on_disk(part)


def _name(part: Path, to: Path) -> None:
    """Where the disk knows no links, as a stick for cameras does, a rename has to do."""
    try:
        os.link(part, to)
        part.unlink()
    except FileExistsError:
        _free(to)
    except OSError:
        _free(to)
        part.rename(to)
    on_disk(to.parent)


def as_before(journal: Path, to: Path, pattern: str) -> Path | None:
    """The newest file of that pattern beside `to`, where it holds what the journal does: it gets
    that name too. None where there is none, or the disk knows no links."""
    newest = max(to.parent.glob(pattern), default=None)
    if newest is None:
        return None
    try:
        if _sum(newest) != _sum(journal):
            return None
        os.link(newest, to)
    except (JournalError, OSError):
        return None
    on_disk(to.parent)
    return newest


def _sum(journal: Path) -> list[object]:
    """What another content would not have as well: the chain's last link, houses, all readings."""
    with telling(journal, "read it"), closing(connect(journal, "ro")) as db:
        return [
            *db.execute("SELECT * FROM state"),
            *db.execute("SELECT * FROM house"),
            *db.execute("SELECT count(*), total(at), total(value) FROM reading"),
        ]


def thin(folder: Path, pattern: str, keep: int) -> list[Path]:
    """Remove all but the `keep` files of that pattern whose names sort last; those removed."""
    old = sorted(folder.glob(pattern))[: -keep or None]
    for path in old:
        with telling(path, "remove an old backup"):
            path.unlink()
    return old


def restore(
    backup: Path,
    journal: Path,
    now: float,
    zone: tzinfo,
    passed: Passed = lambda what, share: None,
) -> tuple[Sound, Path | None]:
    """Put a backup in the journal's place; what was found in it, and where the old one lies now.

    JournalError, and nothing changed, where the backup has faults or is no journal of ours, or
    while a watch has the journal open.
    """
    sound = inspect(backup, zone, passed)
    if sound.faults:
        faults = "\n".join(str(fault) for fault in sound.faults)
        raise JournalError(f"{faults}\n{backup}: nothing was restored")
    with telling(journal, "make the journal's folder"):
        journal.parent.mkdir(parents=True, exist_ok=True)
    part = journal.with_name(f".{journal.name}.part")
    with _discarding(part):
        with telling(backup, "copy the backup"):
            _copy(backup, part, passed)
        with closing(Journal.open(part)) as fresh:
            fresh.drop_checkpoint()
        with telling(journal, "restore the journal"), _alone(journal):
            aside = _aside(journal, f"before-{datetime.fromtimestamp(now, zone):{STAMP}}")
            _keep_rights(part, journal if aside is None else aside)
            part.rename(journal)
            on_disk(journal.parent)
    return sound, aside


def _aside(journal: Path, ending: str) -> Path | None:
    if not journal.exists():
        return None
    aside = _first_free(journal, ending)
    journal.rename(aside)
    for tail in ("-wal", "-shm"):
        beside = journal.with_name(journal.name + tail)
        if beside.exists():
            beside.rename(aside.with_name(aside.name + tail))
    return aside


def _keep_rights(new: Path, old: Path) -> None:
    """The watch must be able to write what root restored: owner and mode of what was there, else
    those of the folder."""
    known = (old if old.exists() else new.parent).stat()
    if os.geteuid() == 0:
        os.chown(new, known.st_uid, known.st_gid)
    new.chmod(0o640 if not old.exists() else known.st_mode & 0o777)


@contextmanager
def _alone(journal: Path) -> Iterator[None]:
    """While nobody else has the journal open, and nobody can open it.

    To leave SQLite's WAL mode takes the file to oneself, so a watch at rest is noticed as well as
    one that writes. A journal too damaged for that is held by nobody who could still use it.
    """
    if not is_there(journal):
        yield
        return
    db = sqlite3.connect(journal, timeout=WAITING, isolation_level=None)
    try:
        db.execute("PRAGMA journal_mode = DELETE")
        db.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError as error:
        db.close()
        if error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            stop = "a watch has it open; stop it first: systemctl stop kuraban"
            raise JournalError(f"{journal}: {stop}") from error
        raise
    except sqlite3.DatabaseError:
        db.close()
    with closing(db):
        yield


def _first_free(path: Path, ending: str) -> Path:
    names = (path.with_name(f"{path.name}.{ending}{f'-{n}' if n > 1 else ''}") for n in count(1))
    return next(name for name in names if not name.exists())


@contextmanager
def _discarding(part: Path) -> Iterator[None]:
    try:
        yield
    finally:
        for tail in ("", "-wal", "-shm", "-journal"):
            with suppress(OSError):
                part.with_name(part.name + tail).unlink(missing_ok=True)
