"""The board is set up by one script: twice is as once, nothing of the house's is overwritten, and
taking it away keeps what was written."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from tests.broker import free_port, lets_in, started
from tests.sources import laid
from tests.test_units import UNITS

ROOT = Path(__file__).parents[2]
DEBIAN = """\
pid_file {home}/mosquitto.pid

persistence true
persistence_location /var/lib/mosquitto/

log_dest file {home}/log

include_dir {home}/etc/mosquitto/conf.d
"""
"""Debian's own mosquitto.conf, the folders made those of the test."""
WORDS = {
    "kuraban": "secrets/mqtt", "feed": "secrets/feed", "wall": "wall-secrets/mqtt",
    "crew": "crew-password",
}  # fmt: skip
"""Where the words of the broker's users lie, in /etc/kuraban."""
PROGRAM = ("etc/systemd", "opt", "usr")
"""Where everything lies that `--remove` takes away."""


@pytest.fixture(scope="module", autouse=True)
def sources(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the sources, as a house has them: nobody works in it."""
    folder = tmp_path_factory.getbasetemp() / "sources-of-the-board"
    folder.mkdir()
    return laid(folder)


def install(sources: Path, root: Path, *words: str) -> subprocess.CompletedProcess[str]:
    env = os.environ | {"PYTHON": sys.executable, "INSTALL_PIP": "--no-compile"}
    command = [sources / "deploy" / "install", "--root", root, *words]
    return subprocess.run(command, env=env, capture_output=True, text=True, check=False)


def files(root: Path) -> dict[str, bytes]:
    """Everything that a person could have changed, by its place; the program itself left out."""
    return {
        str(path.relative_to(root)): path.read_bytes()
        for path in sorted(root.rglob("*"))
        if path.is_file() and "opt" not in path.relative_to(root).parts
    }


@pytest.fixture(scope="module")
def board(sources: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A board on which it was installed once; Debian's Mosquitto was there before."""
    root = tmp_path_factory.mktemp("board")
    (root / "etc" / "mosquitto").mkdir(parents=True)
    (root / "etc" / "mosquitto" / "mosquitto.conf").write_text(DEBIAN.format(home=root))
    done = install(sources, root)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "kuraban init" in done.stdout
    return root


@pytest.fixture
def own(board: Path, tmp_path: Path) -> Path:
    """A board of the test's own, as it stands after the first time."""
    return Path(shutil.copytree(board, tmp_path / "board", symlinks=True))


@pytest.mark.slow
@pytest.mark.needs("mosquitto")
def test_the_program_runs(board: Path) -> None:
    """From its own environment, by its name."""
    command = [board / "opt" / "kuraban" / "bin" / "kuraban", "--version"]
    told = subprocess.run(command, capture_output=True, text=True, check=True, cwd="/")
    assert told.stdout.startswith("kuraban ")
    assert os.readlink(board / "usr/local/bin/kuraban") == "/opt/kuraban/bin/kuraban"


@pytest.mark.slow
@pytest.mark.needs("mosquitto")
def test_its_units_are_those_of_the_repository(board: Path) -> None:
    laid = board / "etc" / "systemd" / "system"
    ours = {path.name: path.read_bytes() for path in UNITS.iterdir() if path.suffix != ".md"}
    assert {path.name: path.read_bytes() for path in laid.iterdir()} == ours


@pytest.mark.slow
@pytest.mark.needs("mosquitto")
def test_secrets_are_for_root_and_the_watchs_group_alone(board: Path) -> None:
    """Made on the board, each another; the broker's file holds none as it is. The crew's and the
    wall's, which go to their boards, are root's."""
    words = [board / "etc/kuraban" / name for name in WORDS.values()]
    assert stat.S_IMODE(words[0].parent.stat().st_mode) == 0o750
    assert [stat.S_IMODE(word.stat().st_mode) for word in words] == [0o640, 0o640, 0o600, 0o600]
    kept = (board / "etc/mosquitto/kuraban.passwords").read_text()
    texts = {word.read_text() for word in words}
    assert len(texts) == 4 and not any(text in kept for text in texts)
    assert all(len(text) == 36 for text in texts)


@pytest.mark.slow
@pytest.mark.needs("mosquitto")
def test_debians_mosquitto_starts_with_it(own: Path) -> None:
    """And lets in whom the passwords name; Debian's own file is kept beside."""
    port = free_port()
    etc = own / "etc" / "mosquitto"
    ours = (etc / "conf.d" / "kuraban.conf").read_text("utf-8")
    ours = ours.replace("/etc/mosquitto", str(etc)).replace("/var/lib/mosquitto", str(own))
    ours = ours.replace("listener 1883", f"listener {port}")
    user = "user root\n" if os.geteuid() == 0 else ""
    (etc / "conf.d" / "kuraban.conf").write_text(ours + user, "utf-8")
    debians = (etc / "mosquitto.conf").read_text()
    board = debians.partition("pid_file ")[2].partition("/mosquitto.pid")[0]
    (etc / "mosquitto.conf").write_text(debians.replace(board, str(own)))
    assert "\npersistence_location" in (etc / "mosquitto.conf.before-kuraban").read_text()
    with started(["mosquitto", "-c", etc / "mosquitto.conf"], port):
        for user, name in WORDS.items():
            topic = "kura/reading/t1-mid" if user == "feed" else "kura/watch/status"
            word = (own / "etc/kuraban" / name).read_text()
            assert lets_in(port, user, word, topic), user
        assert not lets_in(port, "kuraban", "x", "kura/watch/status")


@pytest.mark.slow
@pytest.mark.needs("mosquitto")
def test_twice_is_as_once(sources: Path, own: Path) -> None:
    """No word about anything, since nothing was done; the program is not installed anew."""
    before, made = files(own), (own / "opt/kuraban/.installed").stat().st_mtime_ns
    done = install(sources, own)
    assert done.returncode == 0, done.stderr
    assert files(own) == before
    assert (own / "opt/kuraban/.installed").stat().st_mtime_ns == made
    assert not [
        line for line in done.stdout.splitlines() if line.startswith(("written", "changed"))
    ]


@pytest.mark.slow
@pytest.mark.needs("mosquitto")
def test_what_the_house_changed_stays(sources: Path, own: Path) -> None:
    """Access list and listeners are the house's; the units are ours, and a drop-in changes them."""
    acl = own / "etc/mosquitto/kuraban.acl"
    acl.write_text(acl.read_text() + "\nuser board-cellar\ntopic write kura/reading/t3-mid\n")
    unit = own / "etc/systemd/system/kuraban.service"
    unit.write_text("[Unit]\nDescription=an older one\n")
    before = acl.read_bytes()
    done = install(sources, own)
    assert acl.read_bytes() == before and "kept as it is" in done.stdout
    assert unit.read_bytes() == (sources / "deploy/systemd/kuraban.service").read_bytes()


@pytest.mark.slow
@pytest.mark.needs("mosquitto")
def test_an_update_admits_whom_it_brings_and_nobody_whom_the_house_took_out(
    sources: Path, own: Path
) -> None:
    """A board from before the wall, whose feed has a word of the house's and whose crew is out."""
    passwords = own / "etc/mosquitto/kuraban.passwords"
    before = [
        line for line in passwords.read_text().splitlines() if line[:5] not in ("crew:", "wall:")
    ]
    passwords.write_text("\n".join([*before, "t1-mid:of the house", ""]))
    shutil.rmtree(own / "etc/kuraban/wall-secrets")
    (own / "etc/kuraban/secrets/feed").unlink()
    for _ in range(2):
        assert install(sources, own).returncode == 0
        users = [line.partition(":")[0] for line in passwords.read_text().splitlines()]
        assert sorted(users) == ["feed", "kuraban", "t1-mid", "wall"]
        assert {*before} < {*passwords.read_text().splitlines()}
    assert len((own / "etc/kuraban/wall-secrets/mqtt").read_text()) == 36
    assert not (own / "etc/kuraban/secrets/feed").exists()


@pytest.mark.slow
@pytest.mark.needs("mosquitto")
def test_taken_away_it_leaves_what_was_written(sources: Path, own: Path) -> None:
    """Journal, backups, settings, secrets and broker; installed again, it goes on with them."""
    journal = own / "var/lib/kuraban/kuraban.journal"
    journal.write_bytes(b"every night of the season")
    (own / "etc/kuraban/site.toml").write_text("# the house\n")
    before = {name: text for name, text in files(own).items() if not name.startswith(PROGRAM)}
    done = install(sources, own, "--remove")
    assert done.returncode == 0 and "Kept: " in done.stdout
    assert files(own) == before
    assert not (own / "opt/kuraban").exists()
    assert not (own / "usr/local/bin/kuraban").is_symlink()
    assert not [*(own / "etc/systemd/system").iterdir()]
    assert install(sources, own, "--remove").returncode == 0
    assert install(sources, own).returncode == 0
    after = files(own)
    assert {name: after[name] for name in before} == before


def test_a_word_that_is_no_option_does_nothing(sources: Path, tmp_path: Path) -> None:
    done = install(sources, tmp_path, "--purge")
    assert done.returncode == 2 and "--remove" in done.stderr
    assert not [*tmp_path.iterdir()]
    assert "Debian board" in install(sources, tmp_path, "--help").stdout
