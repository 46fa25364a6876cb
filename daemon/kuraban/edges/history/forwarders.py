"""Everyone who keeps the long history, each at his own pace: the watch hears of them as of one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from threading import Lock

from kuraban.edges.history.folder_writer import FolderForwarder
from kuraban.edges.history.forwarder import Forwarder, Where

Report = Callable[[bool, str], None]


class Forwarders:
    """Of the journal at `path`, into an engine, a folder or both. `report` is told that the history
    is late while any of them is; `late` is how that stood at the start."""

    def __init__(
        self, path: Path, engine: Where | None, folder: Where | None, report: Report,
        clock: Callable[[], float], late: bool,
    ) -> None:  # fmt: skip
        self._report, self._lock = report, Lock()
        self._late: dict[str, bool] = {}
        self._each: list[Forwarder] = []
        for where, kind in ((engine, Forwarder), (folder, FolderForwarder)):
            if where is not None:
                self._late[where.name] = late
                self._each.append(kind(path, where, self._of(where.name), clock, late=late))

    def start(self) -> None:
        for one in self._each:
            one.start()

    def renew(self) -> None:
        """The journal at the path is another one now."""
        for one in self._each:
            one.renew()

    def stop(self, timeout: float) -> None:
        for one in self._each:
            one.stop(timeout)

    def _of(self, name: str) -> Report:
        def told(late: bool, reason: str) -> None:
            with self._lock:
                before, self._late[name] = any(self._late.values()), late
                if any(self._late.values()) != before:
                    self._report(late, reason)

        return told
