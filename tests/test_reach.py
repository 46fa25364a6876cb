"""What is unused is found, and what others call is left alone."""

from __future__ import annotations

import ast

import pytest

from tests.house import PACKAGE, Module
from tests.reach import unused


def found(**files: str) -> list[str]:
    """Names of what is unused in invented modules."""
    modules = [Module(n, PACKAGE / f"{n}.py", ast.parse(text)) for n, text in files.items()]
    return [one.rpartition(" ")[2] for one in unused(modules)]


def test_a_function_that_only_the_unused_call_is_unused_too() -> None:
    assert found(mash="def stir(): return kai()\ndef kai(): ...\ndef taste(): ...\ntaste()") == [
        "stir", "kai",
    ]  # fmt: skip


def test_a_name_is_followed_to_the_file_that_it_comes_from() -> None:
    """The one of the same name elsewhere stays unused."""
    files = {
        "rice": "def weigh(): ...",
        "koji": "def weigh(): ...",
        "day": "from kuraban.rice import weigh as w\nw()",
    }
    assert found(**files) == ["weigh"]


@pytest.mark.parametrize("use", ["rice.weigh()", "for one in (rice,):\n    one.weigh()"])
def test_a_module_may_stand_before_the_dot_or_be_handed_on(use: str) -> None:
    assert found(rice="def weigh(): ...", day=f"from kuraban import rice\n{use}") == []


def test_members_of_a_class_are_in_use_by_their_name() -> None:
    tank = (
        "class Tank:\n    def stir(self): ...\n    def drain(self): ...\n    def __len__(self): ..."
    )
    assert found(tank=f"{tank}\nTank().stir()") == ["Tank.drain"]


def test_what_is_handed_to_a_framework_is_called_by_it() -> None:
    assert found(page="@router.get('/')\ndef cellar(): ...\n@cache\ndef sheet(): ...") == ["sheet"]


def test_a_name_that_nobody_reads_is_unused() -> None:
    assert found(mash="COLD = 5.0\nWARM = 15.0\nprint(WARM)") == ["COLD"]
