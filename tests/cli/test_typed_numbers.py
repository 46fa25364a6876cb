"""Every number of every command is read as people type it, and refused in our words."""

from __future__ import annotations

import pytest

from tests.cli.conftest import Type


@pytest.mark.parametrize("celsius", ["１５", "15,0", "15 ℃"])
def test_a_figure_of_a_command_may_be_typed_on_any_keyboard(celsius: str, type_in: Type) -> None:
    plain = type_in("reckon", "hydrometer", "-20", "--celsius", "15")
    assert plain.exit_code == 0, plain.stderr
    assert type_in("reckon", "hydrometer", "-20", "--celsius", celsius).stdout == plain.stdout


def test_a_figure_that_is_none_is_refused_in_our_words(type_in: Type) -> None:
    refused = type_in("reckon", "hydrometer", "-20", "--celsius", "much")
    assert refused.exit_code == 2 and "write one such as 10.5" in refused.stderr
