"""A hundred wrong calls and their answers: each names the thing, the place and what would be right.

    python -m tests.cli.test_wrong_calls

writes `wrong_calls.txt` anew. Look at the difference: every line of it is read by somebody at three
in the morning.
"""

from __future__ import annotations

import os
import shlex
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tests.cli.conftest import KNOWN, TYPED
from tests.journals import live_through, site_file

TABLE = Path(__file__).with_name("wrong_calls.txt")
NIGHT = "slow-drift"
LEAKS = ("Traceback", "Input should", "pydantic", "msgspec", "is not a valid", "Error(", "errno")
"""Words of libraries, which say nothing to a brewer."""


def table() -> list[tuple[str, int, str]]:
    lines = TABLE.read_text("utf-8").splitlines()
    rows = zip(lines[::3], lines[1::3], strict=True)
    return [(call[2:], int(told[:1]), told[3:]) for call, told in rows]


def brewery(folder: Path) -> Path:
    """A night in the journal, and nobody listens where the broker should be."""
    site = site_file(folder)
    site.write_text(site.read_text("utf-8").replace("port = 1883", "port = 9", 1), "utf-8")
    site.chmod(0o640)
    live_through(NIGHT, folder / "data" / "kuraban.journal")
    return folder


def answered(call: str, folder: Path) -> tuple[int, str]:
    """Exit status, and what is said but for how to ask for help."""
    done = CliRunner().invoke(KNOWN, shlex.split(call)[1:])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    said = [line for line in done.output.splitlines() if line.strip()]
    said = [line for line in said if not line.startswith(("Usage:", "Try "))]
    return done.exit_code, " | ".join(said).replace(str(folder), "HERE")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    made = brewery(tmp_path_factory.mktemp("brewery"))
    with pytest.MonkeyPatch.context() as patched:
        patched.chdir(made)
        patched.setattr("typer.testing._get_command", lambda _: TYPED)
        yield made


@pytest.fixture(autouse=True)
def plain(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.delenv("KURABAN_SITE_FILE", raising=False)


def test_there_are_a_hundred() -> None:
    assert len(table()) >= 100 and len({call for call, _, _ in table()}) == len(table())


@pytest.mark.parametrize(("call", "status", "answer"), table(), ids=[row[0] for row in table()])
def test_a_wrong_call_is_answered(folder: Path, call: str, status: int, answer: str) -> None:
    assert answered(call, folder) == (status, answer)


@pytest.mark.parametrize("answer", [row[2] for row in table()])
def test_no_library_speaks(answer: str) -> None:
    assert not [word for word in LEAKS if word in answer]


def main() -> None:
    os.environ.update(NO_COLOR="1", COLUMNS="100")
    calls = [line[2:] for line in TABLE.read_text("utf-8").splitlines() if line.startswith("$ ")]
    with tempfile.TemporaryDirectory() as made:
        folder = brewery(Path(made).resolve())
        os.chdir(folder)
        told = [(call, *answered(call, folder)) for call in calls]
    rows = (f"$ {call}\n{status}  {answer}\n" for call, status, answer in told)
    TABLE.write_text("\n".join(rows), "utf-8")


if __name__ == "__main__":
    sys.exit(main())
