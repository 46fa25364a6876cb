"""The guide as pages: in the reader's language, with links that lead on."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.edges.web.views.guide import guide, shown, slug
from tests.edges.web.conftest import Browser

PARTS = ("index", "evening", "brewer", "maintenance", "crew", "tank", "koji-room", "chiller",
         "alarms", "not-watched", "down", "season", "glossary")  # fmt: skip


@pytest.mark.parametrize("language", ["en", "ja"])
@pytest.mark.parametrize("part", PARTS)
def test_each_page_has_a_title_and_links_only_to_pages_that_are_there(
    part: str, language: str
) -> None:
    read = guide(language, part)
    assert read is not None and read.title and "<img" not in read.html
    for name, heading in re.findall(r'href="/guide/?([\w-]*)(#[\w-]+)?"', read.html):
        goal = guide(language, name or "index")
        assert goal is not None and (not heading or f'id="{heading[1:]}"' in goal.html)


def test_every_alarm_can_be_linked_to() -> None:
    """The link of a call leads to the section of its condition."""
    read = guide("ja", "alarms")
    assert read is not None
    assert [name for name in CONDITIONS if f'<h3 id="{name}">' not in read.html] == []


def test_it_is_read_in_the_readers_language_and_found_from_the_foot_of_a_page(
    browse: Callable[..., Browser],
) -> None:
    browser = browse()
    assert 'href="/guide"' in browser.page("/")
    assert "When it rings" in browser.page("/guide")
    assert "鳴ったら" in browser.page("/guide?lang=ja")
    assert "past the limit, warm" in browser.page("/guide/alarms?lang=en")


@pytest.mark.parametrize("path", ["/guide/none", "/guide/..%2Fwords%2Fen", "/guide/INDEX"])
def test_nothing_but_the_guide_is_read(browse: Callable[..., Browser], path: str) -> None:
    assert browse().get(path).status_code == 404


def test_what_stands_in_angle_brackets_is_text() -> None:
    """No page is made of a file's HTML."""
    assert "&lt;script&gt;" in shown("# a\n\n<script>x</script>", "en").html


def test_lines_of_japanese_are_joined_without_a_gap() -> None:
    assert "<p>蓋を開けない</p>" in shown("蓋を\n開けない", "ja").html
    assert "<p>lid\nshut</p>" in shown("lid\nshut", "en").html


def test_a_heading_is_named_as_code_hosts_name_it() -> None:
    assert slug("17:00, before you go home") == "1700-before-you-go-home"
    assert slug("まず") == "まず"
