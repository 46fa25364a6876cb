"""The catalogues that come with the package."""

from __future__ import annotations

from kuraban.settings.catalogues import load_words


def test_both_languages_come_with_the_package_and_say_the_same_things() -> None:
    catalogue = load_words().catalogue
    assert set(catalogue) == {"en", "ja"}
    assert catalogue["en"].keys() == catalogue["ja"].keys()


def test_the_languages_are_not_the_same_words() -> None:
    catalogue = load_words().catalogue
    same = [key for key, text in catalogue["en"].items() if text == catalogue["ja"][key]]
    assert len(same) < len(catalogue["en"]) / 10


def test_reading_them_twice_gives_the_same() -> None:
    assert load_words() == load_words()
