"""What the commands share."""

from __future__ import annotations

from pathlib import Path

import pytest

from kuraban.cli.common import counted, lasting, new_file, table, wrong
from kuraban.errors import ConfigurationError


@pytest.mark.parametrize(
    ("seconds", "told"),
    [(-3, "0 s"), (40, "40 s"), (720, "12 min"), (3 * 3600, "3 h"), (5 * 86400, "5 days")],
)
def test_a_length_of_time_is_read_at_a_glance(seconds: float, told: str) -> None:
    assert lasting(seconds) == told


def test_things_are_counted_as_one_speaks() -> None:
    assert counted(1, "probe") == "1 probe"
    assert counted(12345, "reading") == "12,345 readings"
    assert counted(2, "person", "people") == "2 people"


def test_a_wrong_word_names_place_key_and_what_would_be_right() -> None:
    assert str(wrong("command line", "--at", "no time", "write 22:10")) == (
        "command line: --at: no time; write 22:10"
    )


def test_figures_stand_on_the_right() -> None:
    assert [column.justify for column in table("place", "now", right=("now",)).columns] == [
        "left", "right",
    ]  # fmt: skip


def test_nothing_is_ever_overwritten(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    kept.write_text("mine", "utf-8")
    with pytest.raises(ConfigurationError, match="nothing is overwritten"), new_file(kept):
        pass
    with pytest.raises(ConfigurationError, match="a folder that is there"), new_file(kept / "x"):
        pass
    assert kept.read_text("utf-8") == "mine"
