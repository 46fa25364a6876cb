"""What no engine can tell, since it was so before there was one: said as the watch begins."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, Literal

from kuraban.core import rota
from kuraban.core.alarm_conditions import BREWER, MAINTENANCE
from kuraban.core.effects import Message, Urgency
from kuraban.core.site import House
from kuraban.errors import Fault

Told = Mapping[str, tuple[str, str]]
"""Title and body by language."""

SET_ASIDE: Final[Told] = {
    "en": (
        "The watch lost its journal",
        "It was damaged and is kept as {aside}. The watch knows of no batch: log every running"
        " one anew (batch-start with stage and since). Until then no tank is watched.",
    ),
    "ja": (
        "見張りの記録が壊れていました",
        "壊れた記録は {aside} に移しました。仕込みが分からないため、続いているものをすべて記入し"
        "直してください（batch-start に stage と since）。それまでタンクは見張られません。",
    ),
}
NO_CALENDAR: Final[Told] = {
    "en": (
        "A duty calendar cannot be read",
        "{files}. Nobody is on duty by it: the rota of the site file goes on alone. See: kuraban"
        " check. Export the calendar again, then restart the watch.",
    ),
    "ja": (
        "当番のカレンダーが読めません",
        "{files}。このカレンダーの当番は入っていません。設定ファイルの当番だけで続けています。"
        "kuraban check で確かめ、カレンダーを書き出し直して、見張りを再起動してください。",
    ),
}


def on_a_lost_journal(house: House, aside: str, now: float) -> list[Message]:
    """To the first of maintenance and the first brewer: the journal was set aside as `aside`."""
    to = (MAINTENANCE, BREWER)
    return _messages(house, SET_ASIDE, {"aside": aside}, to, now, "page", "wake", "aside")


def on_calendars(house: House, unread: Sequence[Fault], now: float) -> list[Message]:
    """To the first of maintenance, soundless: these calendars could not be read."""
    if not unread:
        return []
    files = {"files": "; ".join(f"{fault.key}: {fault.wrong}" for fault in unread)}
    return _messages(house, NO_CALENDAR, files, (MAINTENANCE,), now, "notice", "log", "calendar")


def _messages(
    house: House, told: Told, gaps: Mapping[str, str], roles: tuple[str, ...], now: float,
    step: Literal["page", "notice"], urgency: Urgency, name: str,
) -> list[Message]:  # fmt: skip
    found: dict[str, Message] = {}
    for role in roles:
        for holder in rota.chain(house, role, now)[:1]:
            language = house.person[holder.person].language
            title, body = told.get(language, told["en"])
            found[holder.person] = Message(
                id=f"{int(now):x}-{name}-{holder.person}", at=now, step=step, role=role,
                person=holder.person, urgency=urgency, title=title,
                body=body.format(**gaps), language=language,
            )  # fmt: skip
    return list(found.values())
