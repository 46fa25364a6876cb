"""`kuraban reckon`: the brewer's arithmetic, from figures typed at the tank.

What is asked of a place that runs (`left`, `progress`, `koji`) is in `kuraban.cli.reckon_place`.
"""

from __future__ import annotations

from typing import Annotated, get_args

import msgspec
import typer

from kuraban.cli import reckon_place
from kuraban.cli.common import console, say, table, wrong
from kuraban.cli.reckon_place import ADVICE
from kuraban.core import entries as e
from kuraban.core.detectors.koji_air import DRY_WICK
from kuraban.core.plan.landing_forecast import (
    EMPTY,
    Expected,
    Mash,
    expected,
    ice_for,
    needed,
    share_of,
)
from kuraban.core.texts.translator import figure
from kuraban.errors import OutOfRange
from kuraban.trade import density, mixing, psychrometry, sensors

WATER_COLDEST, RICE_HOTTEST = 0.0, 45.0
UNKNOWN = ("?", "")
BY_KG = ("rice", "ice")
DRAUGHTS = {
    "fan": psychrometry.ASPIRATED,
    "natural": psychrometry.NATURAL_DRAUGHT,
    "still": psychrometry.STILL_AIR,
}
EXAMPLES = """\b
Examples:
  kuraban reckon mix moromi=2000@7.0 rice=440@12.7
  kuraban reckon mix moromi=2000@7.0 "rice=440@?" --target 8.0
  kuraban reckon share 11+6+25 22+8+37 44+9+70
  kuraban reckon left tank-4
  kuraban reckon rh 35 30 --draught natural"""


def add_to(app: typer.Typer) -> None:
    about = "The brewer's arithmetic, from figures typed or from the running watch."
    group = typer.Typer(rich_markup_mode=None, no_args_is_help=True, help=about, epilog=EXAMPLES)
    for name, command in (
        ("mix", mix), ("share", share), ("rh", rh), ("ice-point", ice_point), ("smv", smv),
        ("hydrometer", hydrometer),
    ):  # fmt: skip
        group.command(name=name)(command)
    reckon_place.add_to(group)
    app.add_typer(group, name="reckon")


def told(line: str, *more: str, rests: str, source: str) -> None:
    """A figure with its range, what it rests on and where it comes from."""
    say(line)
    for each in more:
        say(f"  {each}")
    say(f"  rests on: {rests}")
    say(f"  source: {source}")
    say(ADVICE)


def _span(found: Expected, unit: str, decimals: int = 1) -> str:
    least, likely, most = (figure(value, decimals) for value in found)
    return f"{likely} {unit}" + (f" ({least} to {most})" if least != most else "")


# Mixing.


def mix(
    parts: Annotated[
        list[str],
        typer.Argument(
            metavar="WHAT=AMOUNT@CELSIUS",
            help="moromi, starter, water in litres; rice (white), ice in kg; water-koji as "
            'litres+kg. A "?" for the temperature, or ice=?, is what is wanted.',
        ),
    ],
    target: Annotated[
        float | None, typer.Option(metavar="CELSIUS", help="Where it should land.")
    ] = None,
) -> None:
    """The temperature after mixing (仕込温度), or how warm a part must be, or how much ice."""
    mash, known, asked, ice = _parts(parts)
    if not asked and not ice:
        _lands(mash, known)
        return
    if target is None:
        raise wrong("command line", "--target", "is missing", "say where it should land, in °C")
    if ice:
        found = ice_for(mash, known, target)
        least = max(found.likely, 0.0)
        told(f"Ice (氷): {_span(found, 'kg')} to land at {figure(target)} °C",
             *(["It is that cold without ice."] if least == 0 else []),
             rests="0 °C ice, all of it melted; litres ±5 %, rice white or steamed",
             source="conservation of energy; melting 333.6 kJ/kg (CRC, from memory)")  # fmt: skip
        return
    _needs(mash, known, asked[0], target)


def _lands(mash: Mash, known: list[e.Addition]) -> None:
    found = expected(mash, known)
    if found is None:
        raise OutOfRange("parts: more ice than can melt, or nothing that holds heat; see --help")
    rice = [addition for addition in known if addition.what == "rice"]
    more = [f"A degree in the rice moves it {figure(share_of(mash, known, rice[0]), 2)} K."]
    told(f"Lands (仕込温度) at {_span(found, '°C')}", *(more if rice else []),
         rests="masses and temperatures as typed, rice ±1 K, water ±0.5 K, mash ±5 %",
         source="conservation of energy; steamed rice 2.14 to 2.9 kJ/kgK after Siebel 1892 and "
         "Choi and Okos 1986")  # fmt: skip


def _needs(mash: Mash, known: list[e.Addition], last: e.Addition, target: float) -> None:
    found = needed(mash, known, last, target)
    name = "Rice (蒸米)" if last.what == "rice" else last.what
    top = RICE_HOTTEST if last.what == "rice" else 60.0
    if found.likely < WATER_COLDEST:
        ice = ice_for(mash, [*known, _at(last, WATER_COLDEST + 0.5)], target)
        raise OutOfRange(
            f"{last.what}: {figure(found.likely)} °C would be needed, below freezing; "
            f"chill the mash first, or add about {figure(ice.likely, 0)} kg of ice"
        )
    if found.likely > top:
        raise OutOfRange(
            f"{last.what}: {figure(found.likely)} °C would be needed, more than {top:g}; "
            "the rest is too cold for this target"
        )
    moves = share_of(mash, [*known, _at(last, target)], _at(last, target))
    only = known[0] if len(known) == 1 and mash == EMPTY else None
    taught: list[str] = []
    if only is not None and only.what == "water-koji" and only.celsius is not None:
        rule = figure(mixing.rice_temperature(target, only.celsius))
        taught.append(f"The rule of 3.5 taught for a starter says {rule} °C.")
    told(f"{name} must have {_span(found, '°C')} to land at {figure(target)} °C",
         f"A degree in it moves the whole {figure(moves, 2)} K: factor (掛け) {figure(1 / moves)}.",
         *taught,
         rests="masses as typed, what else goes in ±0.5 K (rice ±1), mash ±5 %",
         source="conservation of energy; for a starter the rule is 3.5 (Nada Sake Research Group, "
         '"Shubo mashing"), 4 to 5 at soe, 5.3 at naka, 5.7 at tome (computed)')  # fmt: skip


def _at(addition: e.Addition, celsius: float) -> e.Addition:
    return msgspec.structs.replace(addition, celsius=celsius)


def _parts(typed: list[str]) -> tuple[Mash, list[e.Addition], list[e.Addition], bool]:
    """What was there, what goes in with its figures, what is asked for, and whether ice is."""
    mash, known, asked, ice = EMPTY, [], [], False
    for word in typed:
        what, _, rest = word.partition("=")
        amount, at, celsius = rest.partition("@")
        if what == "ice" and amount in UNKNOWN:
            ice = True
        elif what == "moromi":
            litres = _number(word, amount)
            mash = Mash(_number(word, celsius), (0.95 * litres, 1.05 * litres))
        elif what == "ice":
            known.append(e.Addition(what="ice", kg=_number(word, amount)))
        elif at and celsius in UNKNOWN:
            asked.append(_addition(word, what, amount, None))
        else:
            known.append(_addition(word, what, amount, _number(word, celsius)))
    if len(asked) + ice > 1:
        raise wrong("command line", typed[-1], "two things are asked for", "leave one ? only")
    return mash, known, asked, ice


MIXED = tuple(
    what for what in get_args(e.Ingredient) if what not in ("alcohol", "yeast", "lactic-acid")
)


def _addition(word: str, what: str, amount: str, celsius: float | None) -> e.Addition:
    if what not in MIXED:
        raise wrong("command line", word, f'"{what}" is no part of a mixture',
                    f"write moromi, {', '.join(MIXED)}")  # fmt: skip
    first, _, koji = amount.partition("+")
    weighed = first if what in BY_KG else koji
    kg = _number(word, weighed) if weighed else None
    litres = None if what in BY_KG else _number(word, first)
    return e.Addition(what=what, kg=kg, litres=litres, celsius=celsius)  # type: ignore[arg-type]


def _number(word: str, text: str) -> float:
    try:
        return float(text.replace("\N{MINUS SIGN}", "-"))
    except ValueError:
        right = "write WHAT=AMOUNT@CELSIUS, such as rice=440@12.7"
        raise wrong("command line", word, f'"{text}" is no number', right) from None


# Proportions.


def share(
    additions: Annotated[
        list[str],
        typer.Argument(
            metavar="KAKE+KOJI+WATER",
            help="Soe, naka and tome in turn: kg of white rice, kg of koji rice, litres of water.",
        ),
    ],
    starter: Annotated[
        str | None, typer.Option(metavar="KAKE+KOJI+WATER", help="The starter (酒母).")
    ] = None,
    size: Annotated[float | None, typer.Option(metavar="LITRES", help="Size of the tank.")] = None,
    dry_below: Annotated[
        float | None,
        typer.Option(metavar="LITRES", help="Litres at which the probe's tip is under."),
    ] = None,
    measured: Annotated[
        float | None,
        typer.Option(metavar="LITRES", help="In the tank after the last addition, as measured."),
    ] = None,
) -> None:
    """Proportions of the additions (三段仕込み): koji (麹歩合), water (汲水), litres."""
    named = [("starter 酒母", starter)] if starter else []
    names = ["soe 添", "naka 仲", "tome 留", "yodan 四段"]
    if len(additions) > len(names):
        raise wrong("command line", "KAKE+KOJI+WATER", "more than four additions", "give soe on")
    steps = [(n, _triple(t)) for n, t in [*named, *zip(names, additions, strict=False)]]
    rice = sum(kake + koji for _, (kake, koji, _) in steps)
    koji, water = (sum(triple[part] for _, triple in steps) for part in (1, 2))
    made = table("", "rice 白米", "share", "koji 麹", "water 汲水", "litres", "",
                 right=("rice 白米", "share", "koji 麹", "water 汲水", "litres"))  # fmt: skip
    litres = 0.0
    for name, (kake, malted, wet) in steps:
        own = kake + malted
        litres += mixing.mash_litres(wet, own)
        shares = _percent(own, rice), _percent(malted, own), _percent(wet, own)
        full = _full(litres, size, dry_below)
        made.add_row(name, f"{own:g} kg", *shares, f"{litres:.0f}", full)
    shares = "", _percent(koji, rice), _percent(water, rice)
    made.add_row("all", f"{rice:g} kg", *shares, f"{litres:.0f}", "")
    console().print(made)
    if measured is not None:
        swollen = mixing.swelling(measured, water, rice)
        say(f"Swelling (留測) {swollen:.0f} %: litres without the water, by kg of rice; usual 105")
    enough = mixing.enough_koji_for_label(koji, rice)
    say(f"Koji share (麹歩合) {mixing.koji_share(koji, rice):.1f} %: "
        + ("enough for a specified name (特定名称)." if enough else
           "BELOW the 15 % that a specified name (特定名称) requires."))  # fmt: skip
    say("  usual: koji 20 to 25 %, soe 15 to 20, naka 30, tome 43 to 53 % of the rice, water 130")
    say("  rests on: white rice as weighed, 1.05 L a kilogram; litres ±5 %")
    say("  source: 15 % National Tax Agency, labelling standard for sake; the rest common practice")
    say(ADVICE)


def _triple(text: str) -> tuple[float, float, float]:
    parts = [_number(text, part) for part in text.split("+")]
    if len(parts) != 3 or min(parts) < 0 or parts[0] + parts[1] == 0:
        right = "write kake+koji+water, such as 11+6+25"
        raise wrong("command line", text, "is not three amounts", right)
    return parts[0], parts[1], parts[2]


def _percent(part: float, whole: float) -> str:
    return f"{100 * part / whole:.0f} %"


def _full(litres: float, size: float | None, dry_below: float | None) -> str:
    notes = []
    if size is not None:
        full = f"{100 * litres / size:.0f} % full"
        notes.append(full + (", RUNS OVER" if litres > size else ""))
    if dry_below is not None:
        notes.append("probe hangs dry" if litres < dry_below else "probe under the surface")
    return ", ".join(notes)


# Air, thermometers, hydrometers.


def rh(
    dry: Annotated[float, typer.Argument(metavar="DRY", help="Dry bulb (乾球), °C.")],
    wet: Annotated[
        float | None, typer.Argument(metavar="WET", help="Wet bulb (湿球), °C.", show_default=False)
    ] = None,
    humidity: Annotated[
        float | None, typer.Option(metavar="PERCENT", help="Humidity, where the wet bulb is asked.")
    ] = None,
    draught: Annotated[
        str, typer.Option(help="fan, natural or still: the air past the wick.")
    ] = "fan",
    altitude: Annotated[float, typer.Option(metavar="METRES", help="Above the sea.")] = 0.0,
    error: Annotated[float, typer.Option(metavar="K", help="What each bulb may be off.")] = 0.3,
) -> None:
    """Humidity (湿度) from dry and wet bulb (乾湿差), or the wet bulb from the humidity."""
    if draught not in DRAUGHTS:
        raise wrong("command line", "--draught", f'"{draught}"', "write fan, natural or still")
    coefficient, pressure = DRAUGHTS[draught], psychrometry.air_pressure(altitude)
    source = "JIS Z 8806 (Sprung), saturation after Sonntag 1990"
    if (wet is None) == (humidity is None):
        raise wrong("command line", "WET", "give WET or --humidity, one of them",
                    "such as: kuraban reckon rh 35 30")  # fmt: skip
    if wet is None:
        assert humidity is not None
        found = psychrometry.wet_bulb(dry, humidity, coefficient, pressure)
        told(f"Wet bulb (湿球) {figure(found)} °C, depression (乾湿差) {figure(dry - found)} K",
             rests=f"{dry:g} °C, {humidity:g} %, {draught} draught, {altitude:g} m",
             source=source)  # fmt: skip
        return
    found = psychrometry.relative_humidity(dry, wet, coefficient, pressure)
    ends = [
        psychrometry.relative_humidity(dry, min(max(wet + off, 0.0), dry), coefficient, pressure)
        for off in (-(2**0.5) * error, 2**0.5 * error)
        if wet + off >= 0
    ]
    more = [f"depression (乾湿差) {figure(dry - wet)} K"]
    if found >= 1:
        more[0] += f", dew point (露点) {figure(psychrometry.dew_point(dry, found))} °C"
    if dry - wet < DRY_WICK:
        more.append("The wick may be dry or dirty: wet it, wait ten minutes, read again.")
    rests = f"each bulb ±{error:g} K, {draught} draught, {altitude:g} m"
    span = f"{found:.0f} % ({min(ends):.0f} to {max(ends):.0f})"
    told(f"Humidity (湿度) {span}", *more, rests=rests, source=source)


def ice_point(
    readings: Annotated[
        list[float],
        typer.Argument(metavar="READING", help="Five or more, °C, probe in melting ice."),
    ],
    bath: Annotated[
        float, typer.Option(metavar="K", help="0.1 for tap ice, 0.02 for distilled.")
    ] = 0.1,
    step: Annotated[float, typer.Option(metavar="K", help="One step of the probe.")] = 0.0625,
    now: Annotated[
        float, typer.Option(metavar="K", help="The offset that the readings include already.")
    ] = 0.0,
) -> None:
    """The offset of a probe from readings in melting ice (氷点), and the site file's line for it.

    Crushed ice packed in cold water, stirred, the probe clear of the wall, five minutes to settle.
    """
    found = sensors.ice_point_offset(readings, bath=bath, resolution=step)
    more = [f"for the probe's table in the site file: offset = {now + found.offset:.2f}"]
    if abs(now + found.offset) > sensors.ICE_ERROR:
        more.append("More than a class B Pt100 (0.30) or a DS18B20 (0.5) may err: replace it.")
    more.append("It says nothing of 35 °C: check koji probes there too.")
    told(f"Offset {figure(found.offset, 2, True)} K, good to ±{found.uncertainty:.2f} K (95 %)",
         *more, rests=f"{found.readings} readings, bath ±{bath:g} K, step {step:g} K",
         source="ASTM E563; JCGM 100:2008; tolerances IEC 60751 (from memory)")  # fmt: skip


def smv(
    smv: Annotated[float | None, typer.Option("--smv", help="Sake meter value.")] = None,
    baume: Annotated[float | None, typer.Option("--baume", help="Baume degrees.")] = None,
    sg: Annotated[float | None, typer.Option("--sg", help="Specific gravity 15/4 °C.")] = None,
    acidity: Annotated[
        float | None, typer.Option(metavar="ML", help="Acidity (酸度), for sweet or dry.")
    ] = None,
) -> None:
    """Sake meter value (日本酒度), Baume (ボーメ) and specific gravity (比重) from one of them."""
    given = [value for value in (smv, baume, sg) if value is not None]
    if len(given) != 1:
        raise wrong(
            "command line", "--smv", "give one of --smv, --baume, --sg", "such as --smv -30"
        )
    if baume is not None:
        smv = density.smv_from_baume(baume)
    elif sg is not None:
        smv = density.smv_from_sg(sg)
    assert smv is not None
    baume, sg = density.baume_from_smv(smv), density.sg_from_smv(smv)
    more, source = [], 'Measurement Act: SMV = (1/SG - 1) × 1443; Nada glossary, "SMV"'
    if acidity is not None:
        sweet = figure(density.sweetness(smv, acidity), 1, True)
        more = [f"Sweet (+) or dry (-) (甘辛度): {sweet}"]
        source += "; Sato et al. 1974, J. Soc. Brew. Japan 69:774"
    told(f"SMV (日本酒度) {figure(smv, 1, True)}, Baume (ボーメ) {figure(baume, 2)}, SG {sg:.4f}",
         *more, rests="the figure typed, at 15 °C", source=source)  # fmt: skip


def hydrometer(
    reading: Annotated[float, typer.Argument(metavar="SMV", help="As read.")],
    celsius: Annotated[float, typer.Option(metavar="CELSIUS", help="Of the sample.")],
    alcohol: Annotated[float, typer.Option(metavar="PERCENT", help="Of the sample.")] = 15.0,
) -> None:
    """A hydrometer's reading (浮ひょう) off 15 °C, corrected to it."""
    found = density.hydrometer_at_15(reading, celsius, alcohol)
    doubt = 0.1 * abs(found - reading)
    told(f"SMV (日本酒度) {figure(found, 1, True)} at 15 °C, ±{doubt:.1f}",
         f"correction {figure(found - reading, 1, True)}",
         rests=f"{celsius:g} °C, {alcohol:g} % alcohol; the correction is good to 10 %",
         source="expansion of ethanol and water, Melinder 2010 (computed)")  # fmt: skip
