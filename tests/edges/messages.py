"""Messages and rows for the tests of the courier."""

from __future__ import annotations

from typing import Literal

from kuraban.core.effects import Message

AT = 1_769_883_000.0
"""2026-02-01 03:10 in Japan."""


def message(
    row_id: str,
    *,
    person: str = "aki",
    step: Literal["page", "notice"] = "page",
    language: str = "en",
    at: float = AT,
) -> Message:
    return Message(
        id=row_id,
        at=at,
        step=step,
        role="brewer",
        person=person,
        urgency="wake",
        title=f"Tank 3 warm ({row_id})",
        body="Now 12.4, plan 11.0. Open its valve.",
        alarms=("tank-3/warm",) if step == "page" else (),
        language=language,
    )
