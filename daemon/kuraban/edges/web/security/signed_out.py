"""Visits to the pages that are over although their cookie is still good.

A cookie is signed, and whoever copied it has it for good. So the pages remember which visits were
signed out, until their cookies are too old anyway: a line each, in a file beside the journal, so
that a visit does not begin again with the next start.
"""

from __future__ import annotations

import logging
import os
import threading
from pathlib import Path

FILE = "signed-out"

log = logging.getLogger("kuraban")


class SignedOut:
    """Visits that are over; safe in any thread. Where the file cannot be read or written they are
    known until the pages end, and that is logged: somebody may have an alarm to answer."""

    def __init__(self, path: Path, now: float) -> None:
        self._path, self._turn = path, threading.Lock()
        self._over = {visit: until for visit, until in self._read() if until > now}

    def __contains__(self, visit: str) -> bool:
        return visit in self._over

    def add(self, visit: str, now: float, until: float) -> None:
        """It is over from now on; what no cookie can open any more is forgotten."""
        with self._turn:
            self._over = {one: then for one, then in self._over.items() if then > now}
            self._over[visit] = until
            text = "".join(f"{one} {then}\n" for one, then in self._over.items())
            try:
                self._write(text)
            except OSError as error:
                self._hindered(error)

    def _read(self) -> list[tuple[str, float]]:
        try:
            lines = self._path.read_text("ascii").splitlines() if self._path.exists() else []
            return [(visit, float(until)) for visit, until in map(str.split, lines)]
        except (OSError, ValueError) as error:
            self._hindered(error)
            return []

    def _write(self, text: str) -> None:
        new = self._path.with_suffix(".new")
        with new.open("w", encoding="ascii") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        new.replace(self._path)

    def _hindered(self, error: Exception) -> None:
        log.error(
            "%s: %s; let the watch read and write it: until then who signed out is known only until"
            " the pages end", self._path, error,
        )  # fmt: skip
