"""What is published about the wire is what the watch takes."""

from __future__ import annotations

import json

import pytest

from kuraban.core.entries import KINDS
from kuraban.core.facts import Logged, Reading
from kuraban.core.intake.wire import Wire
from tests.corpus import ENTRIES, HOUSE, NOW
from tests.schemas import DOCUMENTS, FOLDER, MEANINGS, written

WIRE = Wire(HOUSE)


def schema(name: str) -> dict[str, object]:
    document: dict[str, object] = json.loads((FOLDER / name).read_text(encoding="utf-8"))
    return document


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_published_schema_agrees_with_the_structures(name: str) -> None:
    """Run `python -m tests.schemas` after a change of the structures."""
    assert (FOLDER / name).read_text(encoding="utf-8") == written(name)


@pytest.mark.parametrize("name", ["reading.json", "senml-pack.json"])
def test_every_published_reading_is_taken(name: str) -> None:
    for example in schema(name)["examples"]:  # type: ignore[attr-defined]
        facts = WIRE.read("kura/reading/t3-mid", json.dumps(example).encode(), NOW)
        assert facts and all(isinstance(fact, Reading) for fact in facts)


def test_every_kind_of_entry_is_published_with_an_example_that_is_taken() -> None:
    kinds = schema("entry.json")["$defs"]
    subjects = {json.loads(payload)["entry"]: subject for subject, payload in ENTRIES}
    assert set(kinds) == set(KINDS) == set(MEANINGS)  # type: ignore[call-overload]
    for name, kind in kinds.items():  # type: ignore[attr-defined]
        payload = json.dumps(kind["examples"][0]).encode()
        (fact,) = WIRE.read(f"kura/log/{subjects[name]}", payload, NOW)
        assert isinstance(fact, Logged), fact


def test_the_plain_words_name_every_kind_of_entry_and_every_payload_form() -> None:
    told = (FOLDER.parent / "wire.md").read_text(encoding="utf-8")
    for name in (*KINDS, "SenML", "JSON Pointer", *DOCUMENTS):
        assert name in told
