"""`kuraban feed look` shows what hangs on each bus; a mistake in the file is told at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Type
from tests.feed.units import Bench, over_tcp


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "w1" / "28-0316a2794f1e").mkdir(parents=True)
    (tmp_path / "w1" / "28-0316a2794f1e" / "temperature").write_text("10460")
    (tmp_path / "feed.toml").write_text('[feed]\none_wire = "w1"\n')
    return tmp_path


def test_what_hangs_on_each_bus_is_shown(here: Path, type_in: Type) -> None:
    with over_tcp(Bench(), timeout=0.2) as line:
        with (here / "feed.toml").open("a") as file:
            file.write(f'[[line]]\nid = "a"\nhost = "127.0.0.1"\nport = {line.port}\n')
        seen = type_in("feed", "look", "--units", "1")
        assert seen.output.splitlines() == [
            f"1-wire, {here}/w1:",
            "28-0316a2794f1e    10.460 °C  (no name yet)",
            f"line a, 127.0.0.1:{line.port}:",
            "unit   1 answers; its holding register 0 is 235",
        ]
        words = ("--line", "a", "--units", "1", "--registers", "2-3", "--kind", "input")
        seen = type_in("feed", "look", *words)
        assert "CDAB 1093098537 10.46" in seen.output and "1-wire" not in seen.output


@pytest.mark.parametrize(
    ("words", "right"),
    [
        (("--line", "b"), 'there is no line "b"'),
        (("--units", "9-3"), "write one such as 3, or a span"),
        (("--registers", "70000"), "at most 65535"),
        (("--kind", "register"), "holding, input, coil, contact"),
    ],
)
def test_a_wrong_word_is_told(here: Path, type_in: Type, words: tuple[str], right: str) -> None:
    seen = type_in("feed", "look", *words)
    assert seen.exit_code == 2 and right in seen.output


def test_a_feed_without_a_file_says_where_it_looked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, type_in: Type
) -> None:
    monkeypatch.chdir(tmp_path)
    seen = type_in("feed")
    assert seen.exit_code == 2 and "deploy/feed/feed.toml" in seen.output


def test_a_feed_with_a_mistake_in_its_file_does_not_begin(here: Path, type_in: Type) -> None:
    (here / "feed.toml").write_text('[feed]\nevry = "1m"\n')
    seen = type_in("feed")
    assert (
        seen.exit_code == 2
        and 'feed.evry: there is no key "evry"; did you mean "every"?' in seen.output
    )
