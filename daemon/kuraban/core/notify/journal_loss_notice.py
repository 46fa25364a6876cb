"""The one page that no engine can make: what the watch knew is gone."""

from __future__ import annotations

from typing import Final

from kuraban.core import rota as roster
from kuraban.core.conditions import BREWER, MAINTENANCE
from kuraban.core.effects import Message
from kuraban.core.site import House

SET_ASIDE: Final = {
    "en": (
        "The watch lost its journal",
        "It was damaged and lies now as {aside}. The watch knows of no batch: log every running"
        " one anew (batch-start with stage and since). Until then no tank is watched.",
    ),
    "ja": (
        "見張りの記録が壊れていました",
        "壊れた記録は {aside} に移しました。仕込みが分からないため、続いているものをすべて記入し"
        "直してください（batch-start に stage と since）。それまでタンクは見張られません。",
    ),
}


def words_about(house: House, aside: str, now: float) -> list[Message]:
    """To the first of maintenance and the first brewer: the journal was set aside as `aside`."""
    found: dict[str, Message] = {}
    for role in (MAINTENANCE, BREWER):
        for holder in roster.chain(house, role, now)[:1]:
            language = house.person[holder.person].language
            title, body = SET_ASIDE.get(language, SET_ASIDE["en"])
            found[holder.person] = Message(
                id=f"{int(now):x}-aside-{holder.person}", at=now, step="page", role=role,
                person=holder.person, urgency="wake", title=title,
                body=body.format(aside=aside), language=language,
            )  # fmt: skip
    return list(found.values())
