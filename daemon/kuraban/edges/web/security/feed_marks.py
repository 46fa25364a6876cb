"""The marks by which the addresses of people's calendars are good.

A calendar's address is a secret that stands in a phone for years. Its person's mark is in it, and
lies in a file beside the journal; a new one, or none, and the old address opens nothing. Where the
file is lost every address is void, and people make new ones.
"""

from __future__ import annotations

import secrets
import threading
from pathlib import Path

from kuraban.edges.signing import Feed
from kuraban.errors import MachineError

FILE = "calendars"


class FeedMarks:
    """The mark of each person who has a calendar, as the file has it; safe in any thread.

    `renew` and `withdraw` raise MachineError where the file cannot be written: then nothing has
    changed.
    """

    def __init__(self, path: Path) -> None:
        self._path, self._turn = path, threading.Lock()

    def __contains__(self, person: str) -> bool:
        return person in self._read()

    def of(self, person: str) -> Feed | None:
        mark = self._read().get(person)
        return None if mark is None else Feed(person, mark)

    def renew(self, person: str) -> None:
        """A new address from now on; the old one is void."""
        with self._turn:
            self._keep({**self._read(), person: secrets.token_urlsafe(12)})

    def withdraw(self, person: str) -> None:
        with self._turn:
            self._keep({one: mark for one, mark in self._read().items() if one != person})

    def _read(self) -> dict[str, str]:
        """None at all where it cannot be read."""
        try:
            lines = self._path.read_text("ascii").splitlines() if self._path.exists() else []
            return {person: mark for person, mark in map(str.split, lines) if mark}
        except (OSError, ValueError):
            return {}

    def _keep(self, marks: dict[str, str]) -> None:
        new = self._path.with_suffix(".new")
        try:
            new.touch(0o600)
            new.write_text("".join(f"{one} {mark}\n" for one, mark in marks.items()), "ascii")
            new.replace(self._path)
        except OSError as error:
            raise MachineError(f"{self._path}: {error.strerror}; let the pages write it") from error
