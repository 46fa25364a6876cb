"""The sheet of a batch as CSV: a column a measure with its unit, a row a day."""

from __future__ import annotations

import io

from kuraban.core.units import HOUR
from kuraban.core.views.batch_sheet import BatchSheet, SheetDay
from kuraban.edges.table_writer import csv_rows
from kuraban.edges.web.translator import Translator


def clocks(sheet: BatchSheet) -> tuple[str, str]:
    """The clock of the morning's and the evening's figure."""
    both = (sheet.morning, sheet.evening)
    return (clock_of(both[0]), clock_of(both[1]))


def clock_of(seconds: float) -> str:
    return f"{int(seconds // HOUR):02}:{int(seconds % HOUR // 60):02}"


def table(sheet: BatchSheet, w: Translator) -> str:
    out = io.StringIO()
    csv_rows(out)([heads(sheet, w), *(cells(day, w) for day in sheet.days)])
    return out.getvalue()


def heads(sheet: BatchSheet, w: Translator) -> list[str]:
    """Names of the columns with their units."""
    morning, evening = clocks(sheet)
    units = {
        "aim": w("field.celsius"), "morning": f"{w('field.celsius')}, {morning}",
        "evening": f"{w('field.celsius')}, {evening}", "room": w("field.celsius"),
        "alcohol": "%", "acidity": "mL", "amino": "mL", "cooled": "h",
    }  # fmt: skip
    names = ("date", "number", "day", "stage", "aim", "morning", "evening", "room", "baume", "smv",
             "alcohol", "acidity", "amino", "bmd", "face", "cooled", "work")  # fmt: skip
    return [
        f"{w(f'sheet.{name}')} ({units[name]})" if name in units else w(f"sheet.{name}")
        for name in names
    ]


def cells(day: SheetDay, w: Translator) -> list[str]:
    return [
        w.iso(day.at), str(day.number), "" if day.day is None else str(day.day),
        " / ".join(w.text(stage) for stage in day.stages),
        *(_digits(value) for value in (day.aim, day.morning, day.evening, day.room)),
        _digits(day.baume, 2), _digits(day.smv), _digits(day.alcohol), _digits(day.acidity),
        _digits(day.amino), _digits(day.bmd), "; ".join(day.face), _digits(day.cooled),
        "; ".join(w.did(one) for one in day.work),
    ]  # fmt: skip


def _digits(value: float | None, decimals: int = 1) -> str:
    return "" if value is None else f"{round(value, decimals) + 0.0:.{decimals}f}"
