"""Before an addition: how warm rice or water must be, or how much ice, to land on the course.

The form is a question and writes nothing. What a tank holds and where its next stage begins stand
in it already, and can be put right. How it is reckoned is in
`kuraban.core.plan.addition_temperature`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from kuraban.core import entries as e
from kuraban.core.detectors.landing import FULL
from kuraban.core.plan.addition_temperature import (
    EMPTY,
    Expected,
    Mash,
    expected,
    ice_for,
    needed,
    share_of,
)
from kuraban.core.site import House
from kuraban.core.texts.translator import figure
from kuraban.core.views.snapshot import PlaceNow
from kuraban.edges.web.forms.form_values import number
from kuraban.edges.web.page_context import Context, Somebody
from kuraban.edges.web.templating import page
from kuraban.edges.web.views.place import brewing_place
from kuraban.errors import OutOfRange

router = APIRouter(include_in_schema=False)

Wanted = Literal["rice", "water", "ice", "landing"]
WANTED: tuple[Wanted, ...] = ("rice", "water", "ice", "landing")
FIELDS = (
    "mash_litres", "mash_celsius", "water_litres", "koji_kg", "water_celsius", "rice_kg",
    "rice_celsius", "target",
)  # fmt: skip
LIMITS = {
    "mash_litres": (0, 100_000), "mash_celsius": (-5, 60), "water_litres": (0, 100_000),
    "koji_kg": (0, 100_000), "water_celsius": (0, 60), "rice_kg": (0, 100_000),
    "rice_celsius": (0, 60), "target": (0, 40),
}  # fmt: skip
COLDEST, HOTTEST = 0.0, {"rice": 45.0, "water": 60.0}
"""°C to which water can be chilled, and to which what goes in may be warm (common practice)."""


class Wrong(Exception):
    """A figure is missing or cannot be: a key of the catalogue, and the field."""

    def __init__(self, key: str, field: str) -> None:
        self.key, self.field = key, field


class Answer(NamedTuple):
    """°C, or kg of ice: likely, and from least to most; `moves` K for a degree in what is asked."""

    wanted: Wanted
    figure: Expected
    moves: float | None = None
    beyond: Literal["cold", "hot"] | None = None
    """It would have to be colder or hotter than it can be."""
    ice: float | None = None
    """kg that make up for water which cannot be cold enough."""


@router.get("/place/{place}/addition")
def addition(request: Request, context: Context, visitor: Somebody, place: str) -> HTMLResponse:
    known = brewing_place(context.snapshot(), place)
    asked = {name: request.query_params.get(name, "")[:20] for name in FIELDS}
    wanted = next((one for one in WANTED if one == request.query_params.get("wanted")), None)
    answer = wrong = None
    if wanted is None:
        asked = beginning(known, context.house)
    else:
        try:
            answer = answered(wanted, asked)
        except Wrong as error:
            wrong = error
    return page(
        request, context, visitor, "addition.html", place=known, asked=asked,
        wanted=wanted or "rice", every=WANTED, answer=answer, wrong=wrong,
    )  # fmt: skip


def beginning(place: PlaceNow, house: House) -> dict[str, str]:
    """What is known before anybody typed: the mash, and where the next stage's course begins."""
    found = dict.fromkeys(FIELDS, "")
    if place.batch is None:
        return found
    if place.hours is not None and place.hours.litres is not None:
        found["mash_litres"] = f"{sum(place.hours.litres) / 2:.0f}"
    if place.product is not None:
        found["mash_celsius"] = figure(place.product)
    course = house.course.get(place.batch.course)
    stages = {} if course is None else {stage.id: stage for stage in course.stages}
    ahead = next((stages[one.id] for one in place.batch.ahead if one.id in stages), None)
    if ahead is not None:
        found["target"] = figure(ahead.points[0][1])
    return found


def answered(wanted: Wanted, asked: Mapping[str, str]) -> Answer:
    """Wrong where a figure is missing, cannot be read, or comes to nothing that can be."""
    told = {name: _number(name, asked.get(name, "")) for name in FIELDS}
    try:
        return _answered(wanted, told)
    except OutOfRange:
        raise Wrong("mixing.impossible", "") from None


def _answered(wanted: Wanted, told: dict[str, float | None]) -> Answer:
    mash = _mash(told)
    parts = {name: part for name in ("water", "rice") if (part := _part(name, told, wanted))}
    if wanted == "landing":
        found = expected(mash, list(parts.values()))
        if found is None:
            raise Wrong("mixing.nothing", "")
        return Answer(wanted, found)
    target = _given(told, "target")
    if wanted == "ice":
        if not parts and not mash.litres[1]:
            raise Wrong("mixing.nothing", "")
        return Answer(wanted, ice_for(mash, list(parts.values()), target))
    last = parts.pop(wanted, None)
    if last is None:
        raise Wrong("mixing.missing", f"{wanted}_{'kg' if wanted == 'rice' else 'litres'}")
    others = list(parts.values())
    if not others and not mash.litres[1]:
        raise Wrong("mixing.nothing", "")
    return _needs(wanted, mash, others, last, target)


def _needs(
    wanted: Wanted, mash: Mash, others: list[e.Addition], last: e.Addition, target: float
) -> Answer:
    found = needed(mash, others, last, target)
    at_target = _at(last, target)
    moves = share_of(mash, [*others, at_target], at_target)
    if found.likely < COLDEST:
        ice = ice_for(mash, [*others, _at(last, COLDEST)], target)
        return Answer(wanted, found, moves, "cold", ice.likely)
    return Answer(wanted, found, moves, "hot" if found.likely > HOTTEST[wanted] else None)


def _at(addition: e.Addition, celsius: float) -> e.Addition:
    return e.Addition(
        what=addition.what, kg=addition.kg, litres=addition.litres, celsius=celsius
    )  # fmt: skip


def _mash(told: dict[str, float | None]) -> Mash:
    litres = told["mash_litres"]
    if not litres:
        return EMPTY
    return Mash(_given(told, "mash_celsius"), ((1 - FULL) * litres, (1 + FULL) * litres))


def _part(name: str, told: dict[str, float | None], wanted: Wanted) -> e.Addition | None:
    """What goes in; its temperature is nothing yet where it is what is asked for."""
    amount, koji = told["rice_kg" if name == "rice" else "water_litres"], told["koji_kg"]
    if not amount:
        return None
    celsius = None if name == wanted else _given(told, f"{name}_celsius")
    if name == "rice":
        return e.Addition(what="rice", kg=amount, celsius=celsius)
    if koji:
        return e.Addition(what="water-koji", litres=amount, kg=koji, celsius=celsius)
    return e.Addition(what="water", litres=amount, celsius=celsius)


def _given(told: dict[str, float | None], name: str) -> float:
    value = told[name]
    if value is None:
        raise Wrong("mixing.missing", name)
    return value


def _number(name: str, text: str) -> float | None:
    low, high = LIMITS[name]
    try:
        value = number(text)
    except ValueError:
        raise Wrong("mixing.unread", name) from None
    if value is not None and not low <= value <= high:
        raise Wrong("mixing.outside", name)
    return value
