"""What must be true of the answers by link."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from kuraban.core.facts import Fact, Logged
from kuraban.core.units import HOUR, MINUTE
from tests.simulation.answers import HALF_A_DAY, id_of
from tests.simulation.season import Season

Wrong = Iterator[tuple[str, str]]
SOON = 3 * MINUTE
"""Within which an entry that was handed over is in the journal, where nothing hinders."""
STILL = 1.0


def wrong_links(season: Season, facts: list[Fact]) -> Wrong:
    """Each link makes one entry at most, in the name of whom its message went to, and none once
    half a day has passed; what was pressed in time and in peace is there."""
    by_id = {id_of(link): link for link in season.answers.made}
    made = [fact for fact in facts if isinstance(fact, Logged) and fact.id.startswith("link-")]
    for logged in made:
        link = by_id.get(logged.id)
        if link is None or (logged.by, logged.subject) != (link.person, link.subject):
            yield "forged", f"{logged.id} of {logged.by} about {logged.subject}"
        elif logged.received - link.at > HALF_A_DAY + STILL and link.act != "verdict":
            yield "old link", f"{link} made an entry {logged.received - link.at:.0f} s later"
    for name, count in Counter(logged.id for logged in made).items():
        if count > 1:
            yield "pressed twice", f"{name} is {count} entries"
    there = {logged.id for logged in made}
    for one in season.answers.pressed:
        life = season.lives[one.life]
        lived = (life.ended or season.end) - one.at > SOON
        hindered = any(a - MINUTE < one.at + SOON and one.at - MINUTE < b
                       for a, b in season.failing)  # fmt: skip
        hindered = hindered or any(
            event.do == "sleep" and 0 <= season.began + event.at * HOUR - one.at < SOON
            for event in season.script.events
        )
        if one.state == "ready" and lived and not hindered and id_of(one.link) not in there:  # type: ignore[arg-type]
            yield "unheard answer", f"{one.link} of {(one.at - season.began) / 3600:.3f} h"
