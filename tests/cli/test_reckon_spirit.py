"""`kuraban reckon spirit`, as somebody types it at the tank."""

from __future__ import annotations

from tests.cli.conftest import Type


def test_how_much_spirit_a_strength_takes(type_in: Type) -> None:
    """2,000 L of 18 %, 85 % liquid, to 19.8: 300 L of 30 % (by hand), 90 L pure."""
    shown = type_in("reckon", "spirit", "2000", "18", "--target", "19.8", "--rice", "1000")
    assert shown.exit_code == 0, shown.stderr
    assert "Spirit (アル添) of 30 %: 300 L" in shown.stdout
    assert "90 L of pure alcohol; 19.8 % ABV" in shown.stdout
    assert "within the 116 L" in shown.stdout
    assert "no flame" in shown.stdout and "Local rules" in shown.stdout


def test_what_a_label_does_not_allow_is_said(type_in: Type) -> None:
    shown = type_in("reckon", "spirit", "2000", "18", "--litres", "600", "--rice", "1000")
    assert "BEYOND the 116 L" in shown.stdout


def test_what_the_law_does_not_call_sake_is_said(type_in: Type) -> None:
    shown = type_in("reckon", "spirit", "2000", "20", "--litres", "900", "--percent", "40")
    assert "below 22 % by law" in shown.stdout


def test_where_it_lands(type_in: Type) -> None:
    """2,000 L at 10 and 300 L at 20 °C: 7.4 and 1.24 MJ/K, by hand 11.4."""
    shown = type_in("reckon", "spirit", "2000", "18", "--litres", "300", "--celsius", "10", "20")
    assert "lands (品温) at 11.4 °C" in shown.stdout


def test_one_of_the_two_is_to_be_given(type_in: Type) -> None:
    for more in ((), ("--target", "19", "--litres", "100")):
        shown = type_in("reckon", "spirit", "2000", "18", *more)
        assert shown.exit_code == 2 and "one of them" in shown.stderr
