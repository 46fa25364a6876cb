"""Who may make which entry alone: one table, printed by `python -m` and this module's name.

Most entries touch nothing by which a tank could go wrong unseen: anybody makes them. Some take a
tank out of the watch, make it deaf for long, or lead its plan away from its course. When somebody
who is not the brewer makes one of these, it waits for a second person, and the watch judges on
meanwhile as if it had not been made. To take a probe out for its hour is everybody's daily work,
though it be the only one. A correction is judged by what it undoes, and an amended entry
as if it were made as it then says.

What goes the other way waits for nobody: a batch-end taken back, a place put into service again.
While such a correction waited, a tank would stand unwatched.

A wall button that names nobody counts at once: somebody stands there. But no wall button corrects
what brought a batch to its place.

On the pages an account has a role besides. One that looks makes no entry. One that logs is somebody
else, unless it bears the id of a brewer, and makes nothing by which a batch begins, ends or goes
elsewhere, or by which something is watched no more or again. One that manages makes everything, and
alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import Any, Literal

from kuraban.core.alarm_conditions import BREWER
from kuraban.core.rota import everyone
from kuraban.core.site import House


class Touch(Enum):
    """What an entry does, as far as it matters who does it."""

    NOTHING = "anything else"
    OUT_OF_SERVICE = "out of service, while a batch runs there"
    ENDS_EARLY = "the end of a batch before its last stage"
    STAGE_OUT_OF_TURN = "a stage that is not the course's next, or the undoing of an older one"
    UNDOES_START = "a correction of what brought a batch to its place"
    LONG_SHELF = "a shelf of a tank's waking alarm for more than 4 h"
    LETS_RUN_FAR = "a let-run beyond the stage's limit, or what the course never allows"
    PLANS_FAR = "a plan or an aim 3 K from the course, or beyond what it never allows"
    LAST_PROBE = "the last good probe out of service, or kept out for longer than its hour"
    BREWERS_DUTY = "an exchange of the brewer's duty"


class Maker(Enum):
    """Who makes an entry."""

    BREWER = "the brewer, or who manages"
    NAMED = "somebody else"
    NOBODY = "nobody named"


_ALONE, _SECOND = True, False
_BUTTON = {Maker.BREWER: _ALONE, Maker.NAMED: _SECOND, Maker.NOBODY: _ALONE}
TABLE: dict[Touch, dict[Maker, bool]] = {
    Touch.NOTHING: dict.fromkeys(Maker, _ALONE),
    Touch.OUT_OF_SERVICE: _BUTTON,
    Touch.ENDS_EARLY: _BUTTON,
    Touch.STAGE_OUT_OF_TURN: _BUTTON,
    Touch.UNDOES_START: {**_BUTTON, Maker.NOBODY: _SECOND},
    Touch.LONG_SHELF: _BUTTON,
    Touch.LETS_RUN_FAR: _BUTTON,
    Touch.PLANS_FAR: _BUTTON,
    Touch.LAST_PROBE: _BUTTON,
    Touch.BREWERS_DUTY: _BUTTON,
}
"""Whether each may do each alone; else it waits for a second person."""


MANAGES = frozenset((
    "batch-start", "batch-end", "press", "move", "split", "merge", "out-of-service", "in-service",
))  # fmt: skip
"""Entries that on the pages take an account that manages, also where another is amended to one."""


def on_pages(fields: Mapping[str, Any]) -> Literal["log", "manage"]:
    """The least role of an account that may make the entry that these fields spell."""
    amended = fields.get("fields")
    inner = amended.get("entry") if isinstance(amended, Mapping) else None
    return "manage" if {str(fields.get("entry")), str(inner)} & MANAGES else "log"


def alone(touch: Touch, maker: Maker) -> bool:
    return TABLE[touch][maker]


def maker_of(by: str | None, house: House) -> Maker:
    """Who somebody is whom an entry names by id or name."""
    if by is None:
        return Maker.NOBODY
    person = house.person_called(by)
    if by in house.managers or (person is not None and person.id in brewers(house)):
        return Maker.BREWER
    return Maker.NAMED


def brewers(house: House) -> set[str]:
    """Everybody who is the brewer on some day, by id."""
    return {holder.person for holder in everyone(house, BREWER)}


def printed() -> str:
    """The table for people."""
    width = max(len(touch.value) for touch in Touch)
    heads = [maker.value for maker in Maker]
    lines = ["  ".join([" " * width, *heads]).rstrip()]
    for touch, row in TABLE.items():
        words = ["alone" if row[maker] else "second person" for maker in Maker]
        cells = [f"{word:<{len(head)}}" for word, head in zip(words, heads, strict=True)]
        lines.append("  ".join([f"{touch.value:<{width}}", *cells]).rstrip())
    return "\n".join(lines)


def printed_roles() -> str:
    """What the accounts of the pages make, for people."""
    most = ", ".join(sorted(MANAGES))
    return "\n".join((
        "an account that looks    nothing",
        "an account that logs     as somebody else or the brewer, whoever it is; never",
        f"                         {most}",
        "an account that manages  everything, alone",
    ))  # fmt: skip


if __name__ == "__main__":
    print(f"{printed()}\n\n{printed_roles()}")
