"""The JSON Schemas under shared/schemas, made from the structures that the watch itself reads.

`python -m tests.schemas` writes them anew; `tests/test_schemas.py` fails where they differ.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec

from kuraban.core.entries import BY_KIND, Duration, Moment
from kuraban.core.intake.senml import LABELS
from tests.corpus import ENTRIES
from tests.site_schemas import course_schema, site_schema

FOLDER = Path(__file__).parent.parent / "shared" / "schemas"
DIALECT = "https://json-schema.org/draft/2020-12/schema"

TIME: dict[str, Any] = {
    "description": "RFC 3339 with an offset, or Unix seconds",
    "anyOf": [{"type": "string", "format": "date-time"}, {"type": "number"}],
}
DURATION: dict[str, Any] = {
    "description": 'a number and one of s, m, h, d: "90s", "20m", "3h", "2d"; zero is allowed',
    "type": "string",
    "pattern": r"^\d+(\.\d+)?[smhd]$",
}
_WORDS: dict[str, Any] = {"type": "string", "minLength": 1, "maxLength": 200}
_SENML_TYPES = {"text": "string", "number": "number", "truth": "boolean"}

MEANINGS = {
    "batch-start": "a batch begins here, or is taken over in the middle",
    "stage": "this stage begins",
    "hold": "the whole extension of the present stage beyond its length",
    "aim": "the plan drawn anew from now to a temperature at a time; the person goes in who",
    "plan": "the plan drawn anew through several points of [time, °C]",
    "let-run": "someone has looked and lets it be: this far (°C) and this long, at most 12 h",
    "batch-end": "pressed, or koji taken out",
    "press": "the mash is pressed into these tanks; rest: some is left, the batch goes on here",
    "move": "the mash or koji goes to another place",
    "split": "the mash or koji is divided among places",
    "merge": "the mash or koji joins another place's",
    "stir": "stirring",
    "addition": "something goes in",
    "cask-in": "a warm or cold cask goes into the starter",
    "cask-out": "the cask comes out again",
    "handwork": "koji is being worked by hand",
    "probe-out": "this probe, or all product probes of a place, is out of its product",
    "probe-in": "it is back in",
    "check": "a reading by hand thermometer",
    "sample": "the day's analysis",
    "look": "the face of the mash",
    "served-by": "another cooler serves this place from now on",
    "acknowledge": "someone has it in hand, and expects it right after so long",
    "shelve": "silence for a stated time, at most 12 h; once: no longer than until it is over",
    "unshelve": "silence ended early",
    "out-of-service": "not judged until put back",
    "in-service": "judged again",
    "verdict": "whether a ring was worth it",
    "best": "a batch of this place was one of the house's best, by which later ones are measured",
    "take-back": "an old entry, named by its id, was wrong; it stays on record",
    "amend": "members of an old entry replaced; further members, or those in fields, are new",
    "duty-swap": "two people exchange the duties that begin on a day, in one role or in all",
    "confirm": "an entry that was held back counts",
    "note": "anything",
}


def _special(kind: type) -> dict[str, Any]:
    return {Duration: DURATION, Moment: TIME}[kind]


def reading() -> dict[str, Any]:
    """A plain reading: a number, a truth value, an object, or a list of objects."""
    value = {
        "description": "°C, % or W; true or false for a contact",
        "type": ["number", "boolean"],
    }
    one = {
        "type": "object",
        "description": "further members are ignored",
        "properties": {"value": value, "at": {"anyOf": [TIME, {"type": "null"}]}},
        "required": ["value"],
    }
    return {
        "$schema": DIALECT,
        "title": "reading",
        "description": "payload of <root>/reading/<probe>, SenML packs aside",
        "anyOf": [value, {"$ref": "#/$defs/one"}, {"type": "array", "minItems": 1,
                                                   "items": {"$ref": "#/$defs/one"}}],
        "$defs": {"one": one},
        "examples": [
            10.46,
            {"value": 10.46, "at": "2026-02-01T03:10:00+09:00"},
            [{"value": 10.4, "at": 1769880000}, {"value": 10.5, "at": 1769880060}],
        ],
    }  # fmt: skip


def senml_pack() -> dict[str, Any]:
    """A SenML pack (RFC 8428) as the watch takes it."""
    labels: dict[str, Any] = {label: {"type": _SENML_TYPES[kind]} for label, kind in LABELS.items()}
    for unit in ("u", "bu"):
        labels[unit]["enum"] = ["Cel", "K", "%RH", "W"]
    labels["bver"] = {"type": "integer", "minimum": 1, "maximum": 10}
    return {
        "$schema": DIALECT,
        "title": "SenML pack",
        "description": "bn and n together name the topic's probe; RFC 8428",
        "type": "array",
        "minItems": 1,
        "items": {
            "type": "object",
            "properties": labels,
            "propertyNames": {"not": {"pattern": "_$"}},
        },
        "examples": [[{"bn": "t3-mid", "bt": 1769883000, "u": "Cel", "v": 10.46}]],
    }


def entry() -> dict[str, Any]:
    """An entry of any kind, its envelope included."""
    examples = {(told := json.loads(payload))["entry"]: told for _, payload in ENTRIES}
    kinds = {name: _kind(name, examples[name]) for name in BY_KIND}
    return {
        "$schema": DIALECT,
        "title": "entry",
        "description": "payload of <root>/log/<place, cooler, probe or watch>",
        "oneOf": [{"$ref": f"#/$defs/{name}"} for name in kinds],
        "$defs": kinds,
    }


def _kind(name: str, example: object) -> dict[str, Any]:
    struct = BY_KIND[name]
    made = msgspec.json.schema(struct, schema_hook=_special)["$defs"][struct.__name__]
    envelope = {
        "id": _WORDS | {"description": "the same id on the same topic again is nothing"},
        "at": TIME | {"description": "when it was; else when it was received"},
        "who": _WORDS | {"description": "the person; by is another spelling, except in aim"},
    }
    person = {} if name == "aim" else {"by": _WORDS | {"description": "the person"}}
    return {
        "title": name,
        "description": MEANINGS[name],
        "type": "object",
        "properties": {**made["properties"], **envelope, **person},
        "required": made["required"],
        "examples": [example],
    }


DOCUMENTS = {"reading.json": reading, "senml-pack.json": senml_pack, "entry.json": entry}


def written(name: str) -> str:
    """The text of one schema file."""
    return json.dumps(DOCUMENTS[name](), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    FOLDER.mkdir(parents=True, exist_ok=True)
    for file in DOCUMENTS:
        (FOLDER / file).write_text(written(file), encoding="utf-8")
    (FOLDER / "site.json").write_text(site_schema(), encoding="utf-8")
    (FOLDER / "course.json").write_text(course_schema(), encoding="utf-8")
