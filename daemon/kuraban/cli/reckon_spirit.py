"""`kuraban reckon spirit`: spirit into a mash before it is pressed (アル添)."""

from __future__ import annotations

from typing import Annotated

import typer

from kuraban.cli.common import wrong
from kuraban.cli.reckon_place import told
from kuraban.core import entries as e
from kuraban.core.plan.addition_temperature import LOGGED, Mash, landing
from kuraban.core.texts.translator import figure
from kuraban.trade.liquids import STRONGEST
from kuraban.trade.spirit import pure_litres_allowed, spirit_for, strength_after

USUAL = 30.0
"""% ABV of spirit as it goes in (common practice)."""
CAUTION = (
    "Spirit and its vapour burn: no flame, no sparks, air the room, earth the drums. Local rules "
    "and who is licensed for it first."
)


def spirit(
    mash: Annotated[float, typer.Argument(metavar="LITRES", help="Of mash (醪).")],
    alcohol: Annotated[float, typer.Argument(metavar="PERCENT", help="Its alcohol, % ABV.")],
    target: Annotated[
        float | None, typer.Option(metavar="PERCENT", help="The strength that is wanted.")
    ] = None,
    litres: Annotated[
        float | None, typer.Option(metavar="LITRES", help="Spirit that goes in, if that is known.")
    ] = None,
    percent: Annotated[
        float, typer.Option(metavar="PERCENT", help="Strength of the spirit.")
    ] = USUAL,
    rice: Annotated[
        float | None, typer.Option(metavar="KG", help="White rice in all: for the label's cap.")
    ] = None,
    celsius: Annotated[
        tuple[float, float] | None,
        typer.Option("--celsius", metavar="MASH SPIRIT", help="°C of mash and spirit.",
                     show_default=False),
    ] = None,
) -> None:  # fmt: skip
    """Spirit before pressing (アル添): how much, how strong it makes the mash, where it lands.

    Give --target or --litres. With --rice: whether the label of a special designation (特定名称)
    allows it. The house's own books decide.
    """
    if (target is None) == (litres is None):
        raise wrong("command line", "--target", "give --target or --litres, one of them",
                    "such as: kuraban reckon spirit 2000 18.2 --target 19.5")  # fmt: skip
    if litres is None:
        assert target is not None
        litres = spirit_for(mash, alcohol, percent, target)
    strength = strength_after(mash, alcohol, litres, percent)
    pure = litres * percent / 100
    more = [f"{pure:.0f} L of pure alcohol; {figure(strength)} % ABV afterwards, ±0.3"]
    if strength >= STRONGEST:
        more.append("Sake stays below 22 % by law (酒税法).")
    if rice is not None:
        cap = pure_litres_allowed(rice)
        within = "within" if pure <= cap else "BEYOND"
        more.append(f"{within} the {cap:.0f} L of pure alcohol that a special designation "
                    f"(特定名称) allows for {rice:g} kg of white rice")  # fmt: skip
    if celsius is not None:
        more.append(_lands(mash, litres, *celsius))
    told(f"Spirit (アル添) of {percent:g} %: {litres:.0f} L", *more, CAUTION,
         rests="85 % of the mash is liquid, volumes added up",
         source="National Tax Agency, labelling standard: a tenth of the rice by weight at 95 %; "
         "OIML R 22")  # fmt: skip


def _lands(mash: float, litres: float, mash_celsius: float, spirit_celsius: float) -> str:
    before = Mash(mash_celsius, (0.95 * mash, 1.05 * mash))
    poured = e.Addition(what="alcohol", litres=litres, celsius=spirit_celsius)
    found = landing(before, [poured], LOGGED)
    return f"lands (品温) at {figure(found.likely)} °C; spirit of 30 %, undiluted warms it more"
