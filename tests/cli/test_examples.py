"""Every `--help` has an example, and each works when it is pasted."""

from __future__ import annotations

import os
import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer

from kuraban.cli import command_line
from kuraban.core.entries import BatchStart
from kuraban.core.facts import Logged
from kuraban.core.units import parse_time
from kuraban.runtime import freeze, recover
from kuraban.runtime.checkpoint.document import version
from kuraban.settings.catalogues import load_words
from kuraban.store.journal import Checkpoint, Journal
from tests.broker import USERS, Mosquitto
from tests.cli.forked import Forked
from tests.journals import live_through, recording, site_file
from tests.sink import Sink

NIGHT = "slow-drift"
TONIGHT = parse_time("2026-02-11T02:00:00+09:00")
KOJI = Logged(
    "k1", "koji-bed-1", BatchStart(batch="Koji 7", course="koji-box-48"), TONIGHT, TONIGHT, "aki"
)
ELSEWHERE = {"kuraban demo --once"}
"""What another test pastes (`tests/demo/test_play.py`): a night of a minute."""
GO_ON = {
    "kuraban run --site /etc/kuraban/site.toml": "watching 11 places",
    "kuraban wall --lamp 17 --buzzer 27 --relay 22": "listening at",
    "kuraban feed --config /etc/kuraban/feed.toml": "nobody listens",
}
"""What does not end by itself, and what it says by then."""
HISTORY = '\n[history]\nurl = "http://127.0.0.1:9"\nbucket = "kuraban"\n'


def commands(command: Any, words: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    yield words, command
    for name, below in getattr(command, "commands", {}).items():
        if not below.hidden:
            yield from commands(below, (*words, name))


ALL = dict(commands(typer.main.get_command(command_line())))


def examples() -> list[str]:
    found = re.findall(r"^\s*(?:Example: )?(kuraban .+)$", "\n".join(
        str(command.epilog or "") for command in ALL.values()), re.MULTILINE)  # fmt: skip
    order = {"backup": 0, "restore": 1}
    lines = [line for line in dict.fromkeys(found) if line not in ELSEWHERE]
    return sorted(lines, key=lambda line: max(
        (order[word] for word in order if f" {word} " in line), default=0))  # fmt: skip


@pytest.mark.parametrize("words", ALL, ids=" ".join)
def test_every_help_has_an_example_of_its_own(words: tuple[str, ...]) -> None:
    told = ALL[words].epilog or ""
    assert f"kuraban {' '.join(words)}".strip() in told


@pytest.fixture(scope="module")
def brewery(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, dict[str, str]]]:
    """A folder with site file, journal, recording, broker and phones, as after a first night."""
    folder = tmp_path_factory.mktemp("brewery")
    (folder / "broker").mkdir()
    users = {**USERS, "t6-mid": "its word"}
    with Mosquitto(folder / "broker", users=users) as broker, Sink() as sink:
        word = f'user = "kuraban"\npassword = "{USERS["kuraban"]}"'
        site = site_file(folder, port=broker.port, more=word)
        text = site.read_text("utf-8").replace(":9800/", f":{sink.port}/")
        site.write_text(text + HISTORY, "utf-8")
        site.chmod(0o640)
        journal = folder / "data" / "kuraban.journal"
        live_through(NIGHT, journal, between=(KOJI,))
        held = Journal.open(journal)
        engine = recover(held, load_words())
        kept = freeze(engine)
        assert kept is not None
        held.commit(engine.drain(), Checkpoint(version(), bytes(kept.blob)))
        held.close()
        (folder / "feed.toml").write_text(
            '[[line]]\nid = "chillers"\nhost = "127.0.0.1"\nport = 9\n'
        )
        (folder / "night.jsonl.gz").write_bytes(recording(NIGHT).read_bytes())
        (folder / "season-2024.csv").write_text("time,Tank 3\n2025-01-20 10:00,10.5\n", "utf-8")
        (folder / "t6-mid.word").write_text("its word", "utf-8")
        columns = '[columns]\ntime = "time"\n"Tank 3" = "tank-3"\n'
        (folder / "logger.toml").write_text(f'kind = "readings"\n{columns}', "utf-8")
        env = {**os.environ, "NO_COLOR": "1", "COLUMNS": "100", "GPIOZERO_PIN_FACTORY": "mock"}
        env.pop("KURABAN_SITE_FILE", None)
        yield folder, env


@pytest.mark.slow
@pytest.mark.timeout(180)
@pytest.mark.parametrize("line", examples())
def test_it_works_when_pasted(
    brewery: tuple[Path, dict[str, str]], tmp_path: Path, line: str
) -> None:
    folder, env = brewery
    words = shlex.split(line)[1:]
    if words[0] == "init":
        words = [*words[:-1], str(folder / "first.toml"), "--yes", "--listen", "0"]
    words = [word.removeprefix("/etc/kuraban/") for word in words]
    words = ["3s" if word == "12h" and words[0] == "record" else word for word in words]
    words += ["--for", "1s", "--although-batches-run"] if words[0] == "probe" else []
    if words[0] == "record" and (folder / "night.jsonl").exists():
        (folder / "night.jsonl").unlink()
    typed = "a long enough word\n" * 2 if words[0] == "password" else ""
    command = Forked(words, folder, env, tmp_path, typed)
    if line in GO_ON:
        command.terminate(after=GO_ON[line])
    status, told = command.ended()
    found = 1 if words[0] == "doctor" else 0  # nobody watches there, and it says so
    assert status == found, told
    assert "Traceback" not in told
