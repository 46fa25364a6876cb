"""`kuraban reckon mix`: where a mixture lands, and how warm or how much a part of it must be."""

from __future__ import annotations

from typing import Annotated, NamedTuple, get_args

import msgspec
import typer

from kuraban.cli.common import Site, house_of, wrong
from kuraban.cli.completion import places
from kuraban.cli.reckon_place import told
from kuraban.core import entries as e
from kuraban.core.intake import typed_figures
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
from kuraban.core.texts.translator import figure
from kuraban.errors import OutOfRange
from kuraban.trade.mixing import STARTER_RULE, rice_by_rule
from kuraban.trade.tank_volume import dip_at, litres_at, room

BY_KG = ("rice", "ice")
FORM = "write WHAT=AMOUNT@CELSIUS, such as rice=440@12.7"
NAMES = {"rice": "Rice (蒸米)", "ice": "Ice (氷)", "water-koji": "Water (水麹)"}
RESTS = "masses and temperatures as typed, ±0.5 K in what goes in"
SOURCE = "conservation of energy"
NOTES = {
    "ice": "Take as much water off as ice goes in, a litre for a kilogram: it becomes water.",
    "alcohol": "Spirit of 30 %; undiluted it warms the mash as it mixes. Keep flames away.",
    "rice": "Rice holds less heat by Siebel 1892 and as measured (Yamada 1984) than by Choi and "
    "Okos: hence the lopsided range. Rice weighed steamed: divide by 1.38.",
}
MORE_RESTS = {"rice": "white rice ±1 K", "moromi": "mash ±5 %"}
MORE_SOURCES = {
    "rice": "steamed rice 2.6 kJ/kgK after Choi and Okos 1986",
    "ice": "melting 333.6 kJ/kg (CRC, from memory)",
}


class Asked(NamedTuple):
    """The one thing that is wanted: of what, its °C or its amount."""

    of: e.Addition
    celsius: bool
    mash: bool = False
    """It is the mash itself."""


def mix(
    parts: Annotated[
        list[str],
        typer.Argument(
            metavar="WHAT=AMOUNT@CELSIUS",
            help="moromi, starter, water, late-water, yodan, alcohol in litres; rice (white), ice "
            'in kg; water-koji as litres+kg. A "?" for one amount or temperature is what is '
            "wanted.",
        ),
    ],
    target: Annotated[
        float | None, typer.Option(metavar="CELSIUS", help="Where it should land.")
    ] = None,
) -> None:
    """The temperature after mixing (仕込温度), or how warm or how much one part must be."""
    mash, known, asked = _parts(parts)
    if asked is None:
        if target is not None:
            raise wrong("command line", "--target", "nothing is asked for",
                        'put "?" where a temperature or an amount is wanted')  # fmt: skip
        _lands(mash, known)
    elif target is None:
        raise wrong("command line", "--target", "is missing", "say where it should land, in °C")
    elif asked.celsius:
        _how_warm(mash, known, asked, target)
    else:
        _how_much(mash, known, asked, target)


def _lands(mash: Mash, known: list[e.Addition]) -> None:
    found = landing(mash, known, WHITE)
    rice = [addition for addition in known if addition.what == "rice"]
    moves = [f"A degree in the rice moves it {figure(share_of(mash, known, one), 2)} K."
             for one in rice[:1]]  # fmt: skip
    _tell(mash, known, f"Lands (仕込温度) at {_span(found, '°C')}", *moves)


def _how_warm(mash: Mash, known: list[e.Addition], asked: Asked, target: float) -> None:
    found = needed(mash, known, asked.of, target, WHITE)
    what = asked.of.what
    if found.likely < COLDEST:
        chilled = [*known, _at(asked.of, COLDEST + 0.5)]
        ice = ice_for(mash, chilled, target)
        raise OutOfRange(
            f"{what}: {figure(found.likely)} °C would be needed, below freezing; "
            f"chill the rest first, or add about {figure(ice.likely, 0)} kg of ice"
        )
    hottest = RICE_HOTTEST if what == "rice" else HOTTEST
    if found.likely > hottest:
        raise OutOfRange(
            f"{what}: {figure(found.likely)} °C would be needed, more than {hottest:g}; "
            "the rest is too cold for this target"
        )
    moves = share_of(mash, [*known, _at(asked.of, target)], _at(asked.of, target))
    factor = f": factor (掛け) {figure(1 / moves)}" if what == "rice" else ""
    _tell(mash, [*known, asked.of],
          f"{_name(asked)} must have {_span(found, '°C')} to land at {figure(target)} °C",
          f"A degree in it moves the whole {figure(moves, 2)} K{factor}.",
          *_by_rule(mash, known, what, target))  # fmt: skip


def _by_rule(mash: Mash, known: list[e.Addition], what: str, target: float) -> list[str]:
    """What the rule taught for a starter says, where it is one: rice onto a water-koji."""
    celsius = known[0].celsius if len(known) == 1 else None
    if mash != EMPTY or what != "rice" or celsius is None or known[0].what != "water-koji":
        return []
    rule = figure(rice_by_rule(target, celsius))
    return [
        f"The rule taught for a starter, factor {STARTER_RULE:g}, says {rule} °C (Nada Sake "
        'Research Group, "Shubo mashing"); it knows no litres and holds for a starter alone.'
    ]


def _how_much(mash: Mash, known: list[e.Addition], asked: Asked, target: float) -> None:
    found = amount_for(mash, known, asked.of, target, WHITE)
    what, unit = asked.of.what, "kg" if asked.of.what in BY_KG else "L"
    if found.likely < 0 and what != "ice":
        raise OutOfRange(
            f"{what}: no amount of it at {figure(asked.of.celsius or 0.0)} °C brings the rest to "
            f"{figure(target)} °C; it has to lie beyond the target"
        )
    least = Expected(*(max(each, 0.0) for each in found))
    more = [] if least.likely else ["It is that cold without ice."]
    if what == "ice" and least.likely:
        more = _instead(mash, known, target)
    line = f"{_name(asked)}: {_span(least, unit)} to land at {figure(target)} °C"
    _tell(mash, [*known, asked.of], line, *more)


def _instead(mash: Mash, known: list[e.Addition], target: float) -> list[str]:
    """The ice that takes the place of some of the water."""
    for part in known:
        if part.what in ("water", "water-koji") and part.celsius is not None and part.litres:
            ice = ice_instead(mash, known, part.celsius, target, WHITE)
            if ice.likely <= part.litres:
                return [f"In the place of as much {part.what}: {_span(ice, 'kg')}, and "
                        f"{figure(part.litres - ice.likely, 0)} L of it"]  # fmt: skip
    return []


def _tell(mash: Mash, parts: list[e.Addition], line: str, *more: str) -> None:
    """The answer, and what is to be known of its parts."""
    whats = {*(part.what for part in parts), *(["moromi"] if mash != EMPTY else [])}

    def of(table: dict[str, str]) -> list[str]:
        return [said for what, said in table.items() if what in whats]

    told(line, *more, *of(NOTES), rests="; ".join([RESTS, *of(MORE_RESTS)]),
         source="; ".join([SOURCE, *of(MORE_SOURCES)]))  # fmt: skip


def _name(asked: Asked) -> str:
    return "Mash (醪)" if asked.mash else NAMES.get(asked.of.what, asked.of.what)


def _span(found: Expected, unit: str) -> str:
    least, likely, most = (figure(value, 0 if abs(value) >= 100 else 1) for value in found)
    return f"{likely} {unit}" + (f" ({least} to {most})" if least != most else "")


def _at(addition: e.Addition, celsius: float) -> e.Addition:
    return msgspec.structs.replace(addition, celsius=celsius)


# Whether it fits.


def in_tank(
    place: Annotated[
        str, typer.Argument(metavar="PLACE", help="Id of the tank.", autocompletion=places)
    ],
    parts: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="WHAT=AMOUNT@CELSIUS",
            help="What is in it (moromi) and what goes in, as for mix.",
            show_default=False,
        ),
    ] = None,
    dip: Annotated[
        float | None,
        typer.Option(metavar="CM", help="From the rim down to the surface now, instead of moromi."),
    ] = None,
    site: Site = None,
) -> None:
    """Room in a tank (空寸) after an addition: litres to the brim, the surface, the foam (高泡).

    By the tank's litres, and its height or dip table (検尺) of the site file.
    """
    known = house_of(site)[0].house.place.get(place)
    if known is None:
        raise wrong("command line", "PLACE", f'there is no place "{place}"', "name a tank")
    dips, brim = dips_of(known), brim_of(known)
    if brim is None or (dip is not None and dips is None):
        right = "give it litres and height, or dip, in the site file"
        raise wrong("command line", place, "nobody knows how much it holds", right)
    mash, added, _ = _parts(parts or [])
    litres = sum(mash.litres) / 2 if dip is None or dips is None else litres_at(dips, dip)
    litres += sum(litres_of(one) or 0.0 for one in added)
    found, surface = room(brim, litres), dip_at(dips, litres) if dips else None
    left = f"{abs(found.left):.0f} L"
    over = f"RUNS OVER by {left}" if found.left < 0 else f"{left} to the brim"
    least, most = found.foaming
    told(f"{known.name}: {litres:.0f} L of {brim:.0f}, {over} once gas has lifted it",
         *([f"the surface stands {surface:.0f} cm below the rim"] if surface is not None else []),
         f"high foam (高泡) of a foaming yeast: room above {least:.0f} to {most:.0f} L at most",
         "Nobody leans or climbs in: gas lies on the mash. Read the dip from outside, two of you.",
         rests="1.05 L a kilogram of rice, 5 % of rise",
         source="foam: Gauntner, Sake World no. 81 (2006), three quarters of a tank; Sake Street "
         "(2024), half to two thirds; the rest common practice")  # fmt: skip


# What was typed.


def _parts(typed: list[str]) -> tuple[Mash, list[e.Addition], Asked | None]:
    """What was there, what goes in with its figures, and what is asked for."""
    mash, known, asked = EMPTY, list[e.Addition](), list[Asked]()
    for word in typed:
        what, _, rest = word.partition("=")
        amount, at, celsius = rest.partition("@")
        if what == "ice" and amount != "?":
            known.append(_addition(word, what, amount, _number(word, celsius) if at else None))
        elif what == "ice":
            asked.append(Asked(_addition(word, what, "1", 0.0), celsius=False))
        elif not at or (amount == "?" and celsius == "?"):
            raise wrong("command line", word, "lacks a temperature or an amount", FORM)
        elif celsius in ("?", ""):
            asked.append(_asked(word, what, amount, None))
        elif amount.startswith("?"):
            asked.append(_asked(word, what, f"1{amount[1:]}", _number(word, celsius)))
            if "+" in amount:  # its koji is known, its water is wanted
                known.append(_addition(word, what, f"0{amount[1:]}", _number(word, celsius)))
        elif what == "moromi":
            litres = _number(word, amount)
            mash = Mash(_number(word, celsius), (0.95 * litres, 1.05 * litres))
        else:
            known.append(_addition(word, what, amount, _number(word, celsius)))
    if len(asked) > 1:
        raise wrong("command line", typed[-1], "two things are asked for", "leave one ? only")
    return mash, known, asked[0] if asked else None


def _asked(word: str, what: str, amount: str, celsius: float | None) -> Asked:
    """A part of which one figure is wanted; the mash holds as much heat as a starter."""
    if celsius is not None:
        amount = amount.partition("+")[0]
    mash = what == "moromi"
    of = _addition(word, "starter" if mash else what, amount, celsius)
    return Asked(of, celsius is None, mash)


def _addition(word: str, what: str, amount: str, celsius: float | None) -> e.Addition:
    if what not in e.INGREDIENTS:
        every = ", ".join(get_args(e.Ingredient))
        raise wrong("command line", word, f'"{what}" is no part of a mixture',
                    f"write moromi, {every}")  # fmt: skip
    first, _, koji = amount.partition("+")
    weighed = first if what in BY_KG else koji
    kg = _number(word, weighed) if weighed else None
    litres = None if what in BY_KG else _number(word, first)
    return e.Addition(what=what, kg=kg, litres=litres, celsius=celsius)  # type: ignore[arg-type]


def _number(word: str, text: str) -> float:
    try:
        return typed_figures.figure(text)
    except ValueError:
        raise wrong("command line", word, f'"{text}" is no number', FORM) from None
