"""Random nights: who is on the rota, and what happens when, all from one number."""

from __future__ import annotations

import random
from typing import Literal, NamedTuple

from kuraban.core.site import Duty
from kuraban.core.units import DAY, HOUR
from tests.core.house import DUSK, PEOPLE, brewery, with_rota
from tests.core.ladder_model import Model
from tests.core.night_kinds import OF
from tests.core.rota import WEEK


class Event(NamedTuple):
    at: float
    what: Literal["rises", "falls", "answers"]
    subject: str
    condition: str = ""
    who: str = ""


class Script:
    """A random rota and what happens in a random night, all from one number."""

    def __init__(self, seed: int) -> None:
        lots = random.Random(seed)
        self.house = with_rota(brewery(), *_rota(lots))
        self.start = DUSK + lots.uniform(0, 7 * DAY)
        self.end = self.start + 11 * HOUR
        holds: set[tuple[str, str]] = set()
        self.events: list[Event] = []
        busy = lots.choice([4, 10, 40])
        for at in sorted(lots.uniform(self.start, self.end - HOUR) for _ in range(busy)):
            self.events.append(_event(lots, at, holds))


def _event(lots: random.Random, at: float, holds: set[tuple[str, str]]) -> Event:
    fate = lots.random()
    free = [key for key in OF if key not in holds]
    if holds and fate < 0.3:
        subject = lots.choice(sorted(holds))[0]
        return Event(at, "answers", subject, who=lots.choice(PEOPLE).id)
    if not free or (holds and fate < 0.45):
        key = lots.choice(sorted(holds))
        holds.remove(key)
        return Event(at, "falls", *key)
    key = lots.choice(free)
    holds.add(key)
    return Event(at, "rises", *key)


def _rota(lots: random.Random) -> list[Duty]:
    hours = [None, None, (18 * HOUR, 8 * HOUR), (8 * HOUR, 18 * HOUR), (22 * HOUR, 6 * HOUR)]
    return [
        Duty(
            role=lots.choice(["brewer", "brewer", "maintenance", "crew"]),
            person=lots.choice(PEOPLE).id,
            order=order,
            days=tuple(lots.sample(WEEK, lots.choice([0, 0, 4]))),
            hours=lots.choice(hours),
            awake=lots.random() < 0.2,
        )
        for order in lots.sample(range(20), lots.randint(1, 6))
    ]


def play(model: Model, event: Event) -> None:
    """Tell the model what happens."""
    model.until(event.at)
    if event.what == "answers":
        model.answers(event.at, event.subject, None, event.who)
    elif event.what == "rises":
        model.rises(event.at, OF[event.subject, event.condition])
    else:
        model.falls(event.at, OF[event.subject, event.condition])
