"""The command in a process of its own that need not load the program anew: it is forked from a
server that has. What a process has from its start (folder, environment, input) is as asked."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Mapping, Sequence
from multiprocessing import get_context
from pathlib import Path

from kuraban.cli import main
from kuraban.cli.app import command_line

command_line()  # reads the modules of all commands
SERVER = get_context("forkserver")
SERVER.set_forkserver_preload([__name__])


class Forked:
    """`kuraban WORDS`, begun; `typed` is what it reads, and both of what it writes is one text."""

    def __init__(
        self,
        words: Sequence[str],
        folder: Path,
        env: Mapping[str, str],
        home: Path,
        typed: str = "",
    ) -> None:
        (home / "typed").write_text(typed, "utf-8")
        self._told = home / "told"
        self._told.touch()
        asked = (list(words), folder, dict(env), home / "typed", self._told)
        self._process = SERVER.Process(target=_type, args=asked)
        self._process.start()

    def terminate(self, after: str, within: float = 60.0) -> None:
        """Ask it to end once it has said that."""
        end = time.monotonic() + within
        while after not in self._told.read_text("utf-8") and time.monotonic() < end:
            self._process.join(0.05)
        self._process.terminate()

    def ended(self, within: float = 120.0) -> tuple[int | None, str]:
        """Its exit status, None if it does not end within so many seconds, and what it said."""
        self._process.join(within)
        return self._process.exitcode, self._told.read_text("utf-8")


def _type(words: list[str], folder: Path, env: dict[str, str], typed: Path, told: Path) -> None:
    os.setsid()
    os.chdir(folder)
    os.environ.clear()
    os.environ.update(env)
    said = os.open(told, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    for number, opened in ((0, os.open(typed, os.O_RDONLY)), (1, said), (2, said)):
        os.dup2(opened, number)
    sys.stdin = open(0, encoding="utf-8", closefd=False)  # noqa: SIM115
    sys.argv = ["kuraban", *words]
    main()
