"""Sixty seconds of each flood, and a tank that leaves its tolerance amid them.

The watch runs as a process of its own beside a real Mosquitto with the delivered configuration. As
root it is held to half a core and 128 MB by the kernel (control groups, either version); elsewhere
what it takes is told and nothing holds it.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from tests.attacks.flood import KINDS, TOGETHER, WITHIN, Outcome, endure
from tests.bench import ground
from tests.broker import free_port
from tests.certificates import authority, certificate

CORE, MEMORY = 0.5, 128 * 2**20
GROUPS = Path("/sys/fs/cgroup")
GROWTH = 50.0
"""MB that the journal may grow in a minute."""
ALONE = tuple(name for name in KINDS)


@contextmanager
def held(core: float = CORE, memory: int = MEMORY) -> Iterator[tuple[Callable[[int], None], str]]:
    """Puts a process where it has half a core and 128 MB, and says how it is held."""
    folders, settings = _settings(core, memory)
    name = f"kuraban-held-{os.getpid()}"
    made = []
    try:
        for folder in folders:
            (folder / name).mkdir()
            made.append(folder / name)
        for folder, file, value in settings:
            (folder / name / file).write_text(value)
    except OSError:
        yield lambda pid: None, "not held"
        return

    def hold(pid: int) -> None:
        for folder in made:
            (folder / "cgroup.procs").write_text(str(pid))

    try:
        yield hold, f"{core:g} core, {memory // 2**20} MB"
    finally:
        for folder in made:
            folder.rmdir()


def _settings(core: float, size: int) -> tuple[list[Path], list[tuple[Path, str, str]]]:
    period = 100_000
    if (GROUPS / "cgroup.controllers").exists():
        limits = [("cpu.max", f"{int(core * period)} {period}"), ("memory.max", str(size))]
        return [GROUPS], [(GROUPS, file, value) for file, value in limits]
    processor, memory = GROUPS / "cpu", GROUPS / "memory"
    return [processor, memory], [
        (processor, "cpu.cfs_period_us", str(period)),
        (processor, "cpu.cfs_quota_us", str(int(core * period))),
        (memory, "memory.limit_in_bytes", str(size)),
    ]


@contextmanager
def listener(folder: Path) -> Iterator[tuple[str, int, str]]:
    """The encrypted listener as delivered: its lines, its port, and whom to trust."""
    authority(folder, "ca")
    certificate(folder, "server", "IP:127.0.0.1", "30")
    port = free_port()
    yield (
        f"listener {port} 127.0.0.1\ncafile {folder}/ca.crt\ncertfile {folder}/server.crt\n"
        f"keyfile {folder}/server.key\ntls_version tlsv1.2\nuse_username_as_clientid true\n",
        port,
        str(folder / "ca.crt"),
    )


def minute(kinds: tuple[str, ...], seconds: float, encrypted: bool) -> tuple[Outcome, str]:
    with tempfile.TemporaryDirectory() as folder, held() as (hold, how):
        path = Path(folder)
        with listener(path) as (lines, port, trusted):
            if not encrypted:
                return endure(path, kinds, seconds, limits=hold), how
            outcome = endure(
                path, kinds, seconds, limits=hold, tls=lines, tls_port=port, ca_file=trusted
            )
            return outcome, how


def well(one: Outcome) -> bool:
    """Paged in time by a watch that lived through it within its bounds."""
    paged = one.paged is not None and one.paged <= WITHIN
    return paged and one.alive and one.journal < GROWTH


def main() -> None:
    parser = argparse.ArgumentParser(description="Floods for a minute each, and what came of it.")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--only", help="floods, by commas; together where there are several")
    parser.add_argument("--plain", action="store_true", help="leave out the encrypted listener")
    asked = parser.parse_args()
    if asked.only:
        rounds = [tuple(asked.only.split(","))]
    else:
        rounds = [(), *((name,) for name in ALONE), TOGETHER]
    table = Table(box=None, padding=(0, 2, 0, 0))
    columns = ("flood", "listener", "sent, MB", "paged after, s", "watch, MB", "broker, MB")
    for column in (*columns, "journal, MB", "well"):
        table.add_column(column, justify="left" if column in columns[:2] else "right")
    kept: list[dict[str, Any]] = []
    for kinds in rounds:
        for encrypted in (False,) if asked.plain else (False, True):
            one, how = minute(kinds, asked.seconds, encrypted)
            kept.append({
                "flood": one.flood or "none", "encrypted": encrypted, "sent_mb": round(one.sent, 1),
                "paged_s": None if one.paged is None else round(one.paged, 1),
                "watch_mb": round(one.watch), "broker_mb": round(one.broker),
                "journal_mb": round(one.journal, 1), "well": well(one),
            })  # fmt: skip
            row = kept[-1]
            table.add_row(*(str(row[key]) for key in row))
            print(row, flush=True)
            if not well(one):
                print(one.log[-2000:], flush=True)
    Console().print(table)
    print(f"the watch held to: {how}; paged within {WITHIN:g} s is in time")
    if not asked.only:
        where = ground.machine()
        ground.keep("floods", seconds=asked.seconds, held=how, machine=where, rows=kept)


if __name__ == "__main__":
    main()
