"""What the columns of a table most likely are, by their headings: an offer to say yes to."""

from __future__ import annotations

from collections.abc import Mapping as Named
from collections.abc import Sequence

from kuraban.core.intake.typed_figures import narrow
from kuraban.core.site import House
from kuraban.imports.mapping import FIGURES, STAGE, Kind, Mapping, called, offered

WORDS: Named[str, tuple[str, ...]] = {
    "time": ("time", "date time", "date/time", "datetime", "timestamp", "日時", "測定日時"),
    "date": ("date", "day", "日付", "月日", "年月日"),
    "clock": ("clock", "hour", "時刻", "時間"),
    "subject": ("tank", "probe", "channel", "タンク", "槽", "容器"),
    "value": ("value", "temperature", "temp", "温度", "品温", "値"),
    "batch": ("batch", "no", "no.", "number", "号", "号数", "仕込号数", "仕込番号", "順号"),
    "place": ("place", "tank", "vessel", "場所", "タンク", "槽", "容器"),
    "course": ("course", "経過", "経過型"),
    "title": ("title", "sake", "銘柄", "酒名"),
    "rice_kg": ("rice", "rice kg", "総米"),
    "end": ("pressed", "end", "上槽", "上槽日"),
    "note": ("note", "lees", "lees kg", "粕", "酒粕", "粕歩合", "備考"),
    "stage:soe": ("soe", "添", "初添"),
    "stage:naka": ("naka", "仲", "仲添"),
    "stage:tome": ("tome", "留", "留添", "留日"),
    "baume": ("baume", "baumé", "ボーメ"),
    "smv": ("smv", "日本酒度"),
    "alcohol": ("alcohol", "アルコール", "アルコール分"),
    "acidity": ("acidity", "酸度"),
    "amino": ("amino", "アミノ酸", "アミノ酸度"),
    "glucose": ("glucose", "グルコース"),
}


def guess(heads: Sequence[str], house: House) -> Mapping:
    """A mapping of the columns whose headings say something; it may lack what it needs."""
    said = {head: _said(head) for head in filter(None, heads)}
    kind = _kind({role for roles in said.values() for role in roles})
    possible, columns = offered(kind, house), dict[str, str]()
    subjects = {**house.place, **house.probe} if kind == "readings" else {}
    for head, roles in said.items():
        usual = next((role for role in roles if role in possible), None)
        role = called(head, house, {}, subjects) or usual
        if role and (role == "note" or role not in columns.values()):
            columns[head] = role
    fahrenheit = any("°F" in head or "℉" in head for head in heads)
    return Mapping(kind=kind, columns=columns, unit="°F" if fahrenheit else "°C")


def _kind(said: set[str]) -> Kind:
    if any(role.startswith(STAGE) for role in said):
        return "batches"
    return "samples" if said & {*FIGURES} else "readings"


def _said(head: str) -> list[str]:
    plain = narrow(head).partition("(")[0].strip().casefold()
    return [role for role, words in WORDS.items() if plain in map(narrow, words)]
