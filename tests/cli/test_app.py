"""Every command explains itself, and an error is a line and a number."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import typer.main

from kuraban.cli import command_line
from kuraban.cli.app import MODULES
from tests.cli.conftest import SITE, Type

WANTED = {
    "run", "check", "replay", "demo", "record", "status", "history", "log", "page-test", "init",
    "courses",
}  # fmt: skip


def commands() -> Iterator[tuple[list[str], Any]]:
    group = typer.main.get_group(command_line())
    for name, command in group.commands.items():
        yield [name], command
        if hasattr(command, "commands"):
            yield from (([name, inner], found) for inner, found in command.commands.items())


def test_all_commands_are_there() -> None:
    assert {words[0] for words, _ in commands()} >= WANTED


def test_a_command_is_read_alone() -> None:
    """`kuraban run` waits for no other command's libraries."""
    assert set(typer.main.get_group(command_line()).commands) == set(MODULES)
    for name, module in MODULES.items():
        assert name in typer.main.get_group(command_line(module)).commands


def has_example(words: list[str], command: Any, type_in: Type) -> bool:
    shown = type_in(*words, "--help")
    assert shown.exit_code == 0
    if f"kuraban {' '.join(words)}" in shown.output.partition("Example")[2]:
        return True
    inner = getattr(command, "commands", {})
    return bool(inner) and all(has_example([*words, n], c, type_in) for n, c in inner.items())


@pytest.mark.parametrize("name", typer.main.get_group(command_line()).commands)
def test_a_command_explains_itself_with_an_example(name: str, type_in: Type) -> None:
    """A line to copy, with the command or with each of those in it."""
    assert has_example([name], typer.main.get_group(command_line()).commands[name], type_in)


@pytest.mark.parametrize(("words", "command"), list(commands()), ids=lambda part: str(part))
def test_a_command_and_its_options_say_what_they_do(words: list[str], command: Any) -> None:
    options = [option for option in command.params if option.param_type_name == "option"]
    assert all(option.help for option in options)
    assert command.help


def test_no_word_of_the_control_room(type_in: Type) -> None:
    """Nothing is OK, critical, or a number without words."""
    text = "".join(type_in(*words, "--help").output for words, _ in commands())
    assert not {"OK", "critical", "CRITICAL", "failed"} & set(text.replace(".", " ").split())


def test_a_fault_is_one_line_on_standard_error(type_in: Type) -> None:
    """No traceback, nothing on standard output."""
    shown = type_in("replay", "--site", SITE, "nowhere.jsonl")
    assert shown.exit_code == 2
    assert shown.stdout == ""
    assert shown.stderr.count("\n") == 1
    assert "nowhere.jsonl" in shown.stderr


def test_it_says_which_one_it_is(type_in: Type) -> None:
    assert type_in("--version").output.startswith("kuraban ")
