"""A visitor's keys: heard at once, shown nowhere, and the terminal as it was afterwards."""

from __future__ import annotations

import os
import pty
import termios
from collections.abc import Iterator

import pytest

from kuraban.demo.keys import Keys, keyboard


@pytest.fixture
def terminal() -> Iterator[tuple[int, int]]:
    """The visitor's end of a terminal, and the program's."""
    ours, theirs = pty.openpty()
    yield ours, theirs
    for end in (ours, theirs):
        os.close(end)


def test_keys_are_heard_without_a_line_being_ended(terminal: tuple[int, int]) -> None:
    import tty

    visitor, program = terminal
    tty.setcbreak(program)
    keys = Keys(program)
    assert keys and keys.pressed() == ""
    os.write(visitor, b"n+")
    heard = ""
    while len(heard) < 2:
        heard += keys.pressed()
    assert heard == "n+"


def test_a_script_has_no_keys(monkeypatch: pytest.MonkeyPatch) -> None:
    """Output into a file or a pipe: the night plays all the same."""
    with open(os.devnull) as nothing:
        monkeypatch.setattr("sys.stdin", nothing)
        with keyboard() as keys:
            assert not keys and keys.pressed() == ""


def test_a_terminal_that_is_gone_has_no_more_keys() -> None:
    ends = os.pipe()
    os.close(ends[1])
    keys = Keys(ends[0])
    assert keys.pressed() == "" and not keys
    os.close(ends[0])


def test_in_the_background_the_terminal_is_left_alone(
    terminal: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is another program's; to set it would stop this one."""
    _, program = terminal
    before = termios.tcgetattr(program)
    with open(program, closefd=False) as stream:
        monkeypatch.setattr("sys.stdin", stream)
        monkeypatch.setattr("sys.stdout", stream)
        monkeypatch.setattr("os.tcgetpgrp", lambda number: -1)
        with keyboard() as keys:
            assert not keys
            assert termios.tcgetattr(program) == before
