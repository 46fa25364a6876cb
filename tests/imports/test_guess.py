"""What columns most likely are, by their headings."""

from __future__ import annotations

from kuraban.imports.guess import guess
from tests.imports.mangled import house


def test_a_logger_names_its_tanks() -> None:
    found = guess(["日時", "Tank 3 ", "tank-5", "remark"], house())
    assert (found.kind, found.columns) == (
        "readings",
        {"日時": "time", "Tank 3 ": "tank-3", "tank-5": "tank-5"},
    )
    assert guess(["Time", "Tank 3 (°F)"], house()).unit == "°F"


def test_a_brewers_books_are_known_by_their_words() -> None:
    """Soe to tome is a batch, a hydrometer's figure a sample."""
    batches = guess(["号", "タンク", "添", "仲", "留", "上槽", "総米", "酒粕"], house())
    assert batches.kind == "batches" and batches.columns["留"] == "stage:tome"
    samples = guess(["日付", "号", "ボーメ", "アルコール分"], house())
    assert samples.kind == "samples" and [*samples.columns.values()] == [
        "date", "batch", "baume", "alcohol",
    ]  # fmt: skip
