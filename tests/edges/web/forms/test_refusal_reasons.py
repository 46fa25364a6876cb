"""Why something was not taken is said in the language of whoever reads it."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import kuraban
from kuraban.core.entries import KINDS
from kuraban.core.facts import Refusal
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.units import show_time
from kuraban.edges.web.forms import refusal_reasons as reasons
from kuraban.edges.web.translator import Translator
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.conftest import Browse
from tests.edges.web.served import Served

CORE = Path(kuraban.__file__).parent / "core"
WORDS = load_page_words()
ENGLISH = WORDS.catalogue["en"]
FACT = "x-1"


def translator(served: Served, language: str) -> Translator:
    return Translator(WORDS, language, served.settings.house, served.clock())


def raised(*kinds: str, files: str = "*.py") -> Iterator[tuple[str, str]]:
    """Sentences with which something is raised, their facts filled in, and where."""
    for file in sorted(CORE.rglob(files)):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            call = node.exc if isinstance(node, ast.Raise) else None
            if isinstance(call, ast.Call) and getattr(call.func, "id", "") in kinds and call.args:
                said = _said(call.args[0])
                if said is not None:
                    yield said, f"{file.name}:{node.lineno}"


def _said(text: ast.expr) -> str | None:
    if isinstance(text, ast.Constant):
        return str(text.value)
    if not isinstance(text, ast.JoinedStr):
        return None
    parts = (str(one.value) if isinstance(one, ast.Constant) else FACT for one in text.values)
    return "".join(parts)


@pytest.mark.parametrize("sentence", [
    *raised("Refused"), *raised("ValueError", files="fitting.py")
], ids=lambda sentence: sentence[1])  # fmt: skip
def test_every_reason_of_the_books_can_be_said_in_every_language(sentence: tuple[str, str]) -> None:
    """None that is added to the books or the door can be forgotten in the catalogue."""
    told, where = sentence
    assert reasons.read(told, ENGLISH) is not None, f"{where}: [reason] lacks {told!r}"


def test_every_kind_of_entry_has_a_name_in_reasons() -> None:
    assert set(KINDS) == {key.rpartition(".")[2] for key in ENGLISH if ".reason-entry." in key}


WRONG: list[tuple[str, dict[str, Any]]] = [
    ("tank-3", {"entry": "check"}),
    ("tank-3", {"entry": "check", "celsius": "warm"}),
    ("tank-3", {"entry": "check", "celsius": 500}),
    ("tank-3", {"entry": "check", "celsius": -100}),
    ("tank-3", {"entry": "addition", "what": "rice", "kg": 0}),
    ("tank-3", {"entry": "addition", "what": "sand"}),
    ("tank-3", {"entry": "note", "text": "x" * 300}),
    ("tank-3", {"entry": "note", "text": ""}),
    ("tank-3", {"entry": "note", "text": "a\nb"}),
    ("tank-3", {"entry": "note", "text": "a", "id": "a\nb"}),
    ("tank-3", {"entry": "let-run", "for": "13h", "more": 0.3}),
    ("tank-3", {"entry": "stirr"}),
    ("chiller-1", {"entry": "stir"}),
    ("cellar", {"entry": "stir"}),
    ("nowhere", {"entry": "stir"}),
    ("chiller-1", {"entry": "shelve", "condition": "warm", "for": "1h", "reason": "a"}),
    ("tank-3", {"entry": "served-by", "cooler": "chiller-9"}),
    ("tank-3", {"entry": "served-by", "cooler": "Chiller 9"}),
    ("tank-3", {"entry": "move", "to": "cellar"}),
    ("tank-3", {"entry": "batch-start", "batch": "1", "course": "koji-tray-48"}),
    ("tank-3", {"entry": "batch-start", "batch": "1", "course": "mash"}),
    ("tank-3", {"entry": "aim", "celsius": 9.0, "by": 0}),
    ("watch", {"entry": "duty-swap", "from": "aki", "to": "aki", "day": "2026-02-05"}),
]


@pytest.mark.parametrize(("subject", "fields"), WRONG, ids=[str(n) for n in range(len(WRONG))])
def test_what_the_door_refuses_is_said_in_japanese(
    lived: Served, subject: str, fields: dict[str, Any]
) -> None:
    """With the names that people know; nothing of the English sentence is left."""
    made = entry_from(dict(fields), subject, lived.settings.house, lived.clock(), "page")
    assert isinstance(made, Refusal)
    told = translator(lived, "ja").reason(made.reason)
    assert told != made.reason and told.endswith("。")
    assert not re.search(r"\b(is|are|there|send|the|no)\b", told), told


def test_names_stand_in_place_of_ids(lived: Served) -> None:
    """A tank, a stage, a course, a moment."""
    began = show_time(lived.clock() - 3600, lived.settings.house.zone)
    ja, en = translator(lived, "ja"), translator(lived, "en")
    raised_ = f"stage 'moromi' began at {began} already; amend that entry"
    assert ja.reason(raised_) == "醪にはもう02:10に入っています。その記入を訂正してください。"
    runs = "batch 'No. 9' runs in tank-3; log its batch-end first"
    assert en.reason(runs) == "batch 'No. 9' runs in Tank 3; log its batch-end first"


def test_names_beyond_those_listed_are_counted(lived: Served) -> None:
    told = translator(lived, "ja").reason(
        'there is no subject "tank-77"; there are tank-1, tank-2 and 30 more'
    )
    assert told.endswith("あるのは Tank 1、Tank 2ほか30。")


def test_a_reason_that_nobody_knows_is_shown_as_it_is(lived: Served) -> None:
    """Rather that than nothing."""
    assert translator(lived, "ja").reason("the moon is full") == "the moon is full"


def test_the_page_says_it_and_programs_hear_the_journals_own_words(browse: Browse) -> None:
    """The journal, and whoever reads it, keeps one language."""
    browser = browse("ja")
    answer = browser.tap("tank-1", entry="stage", stage="moromi", form="stage-moromi")
    assert answer.status_code == 422
    assert "その記入を訂正してください" in answer.text and "amend that entry" not in answer.text
    headers = {"x-kuraban-token": browser.token()}
    told = browser.post(
        "/api/v1/entries/tank-1", json={"entry": "stage", "stage": "moromi"}, headers=headers
    )
    assert "amend that entry" in told.json()["reason"]
