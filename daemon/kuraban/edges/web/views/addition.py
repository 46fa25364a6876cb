"""Before an addition: how warm or how much of a part it takes to land on the course, whether the
tank has room for it, and when the water must be cold.

The form is a question and writes nothing. What a tank holds and where its next stage begins stand
in it already, and can be put right. How it is reckoned is in
`kuraban.core.plan.addition_temperature` and `kuraban.trade.tank_volume`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Literal, NamedTuple

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from kuraban.core import entries as e
from kuraban.core.detectors.landing import FULL
from kuraban.core.plan.addition_temperature import (
    COLDEST,
    EMPTY,
    HOTTEST,
    RICE_HOTTEST,
    WHITE,
    Expected,
    Mash,
    amount_for,
    ice_for,
    ice_instead,
    landing,
    needed,
    share_of,
)
from kuraban.core.plan.fill_level import brim_of, dips_of, litres_of
from kuraban.core.site import House, Place
from kuraban.core.texts.translator import figure
from kuraban.core.units import HOUR
from kuraban.core.views.snapshot import PlaceNow, Snapshot
from kuraban.edges.web.forms.form_values import number
from kuraban.edges.web.page_context import Context, Somebody
from kuraban.edges.web.templating import page
from kuraban.edges.web.views.place import brewing_place
from kuraban.errors import OutOfRange
from kuraban.trade.mixing import WATER
from kuraban.trade.tank_volume import Room, dip_at, litres_at, room

router = APIRouter(include_in_schema=False)

MASH, ICE, LANDING = "mash", "ice", "landing"
MUCH = "-much"
"""After a part's name: how much of it is wanted, and not how warm."""
PARTS: dict[str, tuple[e.Ingredient, str]] = {
    "water": ("water", "litres"), "rice": ("rice", "kg"), "starter": ("starter", "litres"),
    "late": ("late-water", "litres"), "yodan": ("yodan", "litres"),
    "spirit": ("alcohol", "litres"), ICE: ("ice", "kg"),
}  # fmt: skip
"""What goes in, and the unit of its amount; the mash itself is there already."""
NAMES = {"water-koji": "water", **{what: part for part, (what, _) in PARTS.items()}}
HOW_WARM = (MASH, *(part for part in PARTS if part != ICE))
HOW_MUCH = tuple(f"{part}{MUCH}" for part in HOW_WARM)
WANTED = (LANDING, *HOW_WARM, ICE, *HOW_MUCH)
AMOUNT = {MASH: "mash_litres", **{part: f"{part}_{unit}" for part, (_, unit) in PARTS.items()}}
FIELDS = (*AMOUNT.values(), *(f"{part}_celsius" for part in HOW_WARM), "koji_kg", "target", "dip")
Told = dict[str, float | None]
"""Every figure as it was read."""
BEFORE_RICE = 2 * HOUR
"""Water and koji go in one to two hours before the rice (glossary after the term book of the Japan
Sake and Shochu Makers Association)."""


class Wrong(Exception):
    """A figure is missing or cannot be: a key of the catalogue, and the field."""

    def __init__(self, key: str, field: str) -> None:
        self.key, self.field = key, field


class Fill(NamedTuple):
    """Litres in the tank after it, the room there is then, cm from the rim to the surface."""

    litres: float
    brim: float
    room: Room
    dip: float | None


class Answer(NamedTuple):
    """°C, kg or L: likely, and from least to most; `moves` K for a degree in what is asked."""

    wanted: str
    figure: Expected
    goes: tuple[e.Addition, ...]
    """What goes in, with the figure that was asked for."""
    moves: float | None = None
    beyond: Literal["cold", "hot"] | None = None
    """It would have to be colder or hotter than it can be."""
    ice: float | None = None
    """kg that make up for water which cannot be cold enough."""
    instead: tuple[float, float] | None = None
    """kg of ice in the place of as much water, and the litres of water that are left."""

    @property
    def unit(self) -> str:
        if self.wanted in (ICE, f"rice{MUCH}"):
            return "kg"
        return "L" if self.wanted.endswith(MUCH) else "°C"


class Chill(NamedTuple):
    """When the water must be ready, when the rice is due, and the water store: its name, its °C,
    kWh to be taken out of so much of its water."""

    ready: float
    due: float
    store: str | None = None
    celsius: float | None = None
    kwh: float | None = None


@router.get("/place/{place}/addition")
def addition(request: Request, context: Context, visitor: Somebody, place: str) -> HTMLResponse:
    snapshot = context.snapshot()
    known = brewing_place(snapshot, place)
    asked = {name: request.query_params.get(name, "")[:20] for name in FIELDS}
    wanted = next((one for one in WANTED if one == request.query_params.get("wanted")), None)
    answer = wrong = fill = chill = None
    if wanted is None:
        asked = beginning(known, context.house)
    else:
        try:
            asked = dipped(context.house.place[place], asked)
            answer = answered(wanted, asked)
            fill = filled(context.house.place[place], asked, answer)
            chill = chilled(snapshot, context.house, known, answer)
        except Wrong as error:
            wrong = error
    return page(
        request, context, visitor, "addition.html", place=known, asked=asked, parts=PARTS,
        wanted=wanted or "rice", warm=HOW_WARM, much=(ICE, *HOW_MUCH), amounts=AMOUNT,
        answer=answer, wrong=wrong, fill=fill, chill=chill,
        names=NAMES, dips=dips_of(context.house.place[place]) is not None,
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


def answered(wanted: str, asked: Mapping[str, str]) -> Answer:
    """Wrong where a figure is missing, cannot be read, or comes to nothing that can be."""
    told = {name: _number(name, asked.get(name, "")) for name in FIELDS}
    part = wanted.removesuffix(MUCH)
    mash = EMPTY if part == MASH else _mash(told)
    others = [one for name in PARTS if name != part and (one := _part(name, told))]
    if not others and (wanted == LANDING or not mash.litres[1]):
        raise Wrong("mixing.nothing", "")
    try:
        if wanted == LANDING:
            return Answer(wanted, landing(mash, others, WHITE), tuple(others))
        target = _given(told, "target")
        if wanted == ICE:
            return _ice(mash, others, target)
        tell = _how_much if wanted.endswith(MUCH) else _how_warm
        return tell(part, told, mash, others, target)
    except OutOfRange:
        raise Wrong("mixing.impossible", "") from None


def _ice(mash: Mash, others: list[e.Addition], target: float) -> Answer:
    """Ice on top, and as it takes the place of some of the water."""
    found = ice_for(mash, others, target, WHITE)
    if not found.likely:
        return Answer(ICE, found, tuple(others))
    wet, instead = _water(others), None
    if wet is not None and wet.litres and wet.celsius is not None:
        kg = ice_instead(mash, others, wet.celsius, target, WHITE).likely
        instead = (kg, wet.litres - kg) if kg <= wet.litres else None
    return Answer(ICE, found, (*others, _sized("ice", found.likely)), instead=instead)


def _how_much(part: str, told: Told, mash: Mash, others: list[e.Addition], target: float) -> Answer:
    """Of water it is known how much koji goes in with it."""
    celsius, koji = _given(told, f"{part}_celsius"), _koji(part, told)
    known = [*others, _sized(_what(part), 0.0, celsius, koji)]
    found = amount_for(mash, known, _sized(_what(part), 1.0, celsius), target, WHITE)
    if found.likely < 0:
        raise Wrong("mixing.no-amount", "")
    least = Expected(*(max(one, 0.0) for one in found))
    goes = [] if part == MASH else [_sized(_what(part), found.likely, celsius, koji)]
    return Answer(f"{part}{MUCH}", least, (*others, *goes))


def _how_warm(part: str, told: Told, mash: Mash, others: list[e.Addition], target: float) -> Answer:
    amount, koji = _given(told, AMOUNT[part]), _koji(part, told)
    last = _sized(_what(part), amount, target, koji)
    found = needed(mash, others, last, target, WHITE)
    goes = [] if part == MASH else [_sized(_what(part), amount, found.likely, koji)]
    answer = Answer(part, found, (*others, *goes), share_of(mash, [*others, last], last))
    if found.likely < COLDEST and part != MASH:
        coldest = _sized(_what(part), amount, COLDEST, koji)
        ice = ice_for(mash, [*others, coldest], target, WHITE)
        return answer._replace(beyond="cold", ice=ice.likely)
    hottest = RICE_HOTTEST if part == "rice" else HOTTEST
    return answer._replace(beyond="hot" if found.likely > hottest else None)


def _what(part: str) -> e.Ingredient:
    """Mash is reckoned as a starter."""
    return "starter" if part == MASH else PARTS[part][0]


def _koji(part: str, told: Told) -> float | None:
    return told["koji_kg"] if part == "water" else None


def _water(additions: Iterable[e.Addition]) -> e.Addition | None:
    return next((one for one in additions if one.what in ("water", "water-koji")), None)


def _sized(
    what: e.Ingredient, amount: float, celsius: float | None = None, koji: float | None = None
) -> e.Addition:
    if what in ("rice", "ice"):
        return e.Addition(what=what, kg=amount, celsius=celsius)
    named: e.Ingredient = "water-koji" if koji else what
    return e.Addition(what=named, litres=amount, kg=koji or None, celsius=celsius)


def _mash(told: Told) -> Mash:
    litres = told["mash_litres"]
    if not litres:
        return EMPTY
    return Mash(_given(told, "mash_celsius"), ((1 - FULL) * litres, (1 + FULL) * litres))


def _part(name: str, told: Told) -> e.Addition | None:
    """What goes in, with its figures."""
    amount = told[AMOUNT[name]]
    if not amount:
        return None
    celsius = 0.0 if name == ICE else _given(told, f"{name}_celsius")
    return _sized(PARTS[name][0], amount, celsius, _koji(name, told))


# Whether it fits, and when the water must be cold.


def dipped(place: Place, asked: dict[str, str]) -> dict[str, str]:
    """With the litres of a dip in the place of those typed."""
    dips, dip = dips_of(place), _number("dip", asked["dip"])
    if dip is None or dips is None:
        return asked
    try:
        return {**asked, "mash_litres": f"{litres_at(dips, dip):.0f}"}
    except OutOfRange:
        raise Wrong("mixing.outside", "dip") from None


def filled(place: Place, asked: Mapping[str, str], answer: Answer) -> Fill | None:
    """The tank after it, None where nobody knows how much it holds."""
    dips, brim = dips_of(place), brim_of(place)
    if brim is None:
        return None
    much = answer.wanted == f"{MASH}{MUCH}"
    litres = answer.figure.likely if much else _number("mash_litres", asked["mash_litres"]) or 0.0
    litres += sum(litres_of(one) or 0.0 for one in answer.goes)
    return Fill(litres, brim, room(brim, litres), dip_at(dips, litres) if dips else None)


def chilled(snapshot: Snapshot, house: House, place: PlaceNow, answer: Answer) -> Chill | None:
    """When the water must be ready, where a next stage is due; what it takes from a water store."""
    due = None if place.batch is None else place.batch.stage_due
    wet = _water(answer.goes)
    if due is None or wet is None or wet.celsius is None or not wet.litres:
        return None
    ready = due - BEFORE_RICE
    store = next((one.id for one in house.places if one.kind == "water"), None)
    now = None if store is None else snapshot.place(store)
    if now is None or now.product is None:
        return Chill(ready, due)
    kwh = wet.litres * WATER * (now.product - max(wet.celsius, COLDEST)) / 3.6e6
    return Chill(ready, due, store, now.product, kwh if kwh > 0 else None)


def _given(told: Told, name: str) -> float:
    value = told[name]
    if value is None:
        raise Wrong("mixing.missing", name)
    return value


def _number(name: str, text: str) -> float | None:
    low, high = LIMITS.get(name.rpartition("_")[2], (0, 100_000))
    try:
        value = number(text)
    except ValueError:
        raise Wrong("mixing.unread", name) from None
    if value is not None and not low <= value <= high:
        raise Wrong("mixing.outside", name)
    return value


LIMITS = {"celsius": (-5, 100), "target": (0, 40), "dip": (0, 1000)}
