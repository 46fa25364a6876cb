"""The line for an account, from a password that is written nowhere."""

from __future__ import annotations

from typer.testing import CliRunner

from kuraban.cli import command_line


def test_the_line_opens_the_door_and_does_not_tell_the_pass_word() -> None:
    result = CliRunner().invoke(command_line(), ["password"], input="kura no ban\nkura no ban\n")
    assert result.exit_code == 0, result.output
    line = result.output.strip().splitlines()[-1]
    assert line.startswith('password = "$argon2') and "kura no ban" not in line


def test_two_pass_words_that_differ_are_asked_for_again() -> None:
    typed = "one and one\ntwo and two\nthree and three\nthree and three\n"
    result = CliRunner().invoke(command_line(), ["password"], input=typed)
    assert result.exit_code == 0 and "do not match" in result.output


def test_a_pass_word_too_short_is_told_what_would_be_right() -> None:
    result = CliRunner().invoke(command_line(), ["password"], input="short\nshort\n")
    assert result.exit_code == 2 and "8 to 200" in result.output
