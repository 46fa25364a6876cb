"""`kuraban reckon`: the brewer's arithmetic, from figures typed at the tank.

Mixing is in `kuraban.cli.reckon_mix`; what is asked of a place that runs (`left`, `progress`,
`koji`) in `kuraban.cli.reckon_place`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import typer

from kuraban.cli import reckon_place
from kuraban.cli.common import AsJson, console, say, say_json, table, wrong
from kuraban.cli.reckon_mix import in_tank, mix
from kuraban.cli.reckon_place import ADVICE, told
from kuraban.cli.reckon_spirit import spirit
from kuraban.core.detectors.koji_air import DRY_WICK
from kuraban.core.intake import typed_figures
from kuraban.core.texts.translator import figure
from kuraban.trade import density, mixing, psychrometry, tank_volume, thermometer_accuracy

NEGATIVE = {"ignore_unknown_options": True}
"""So that a figure below zero is none of the options."""
UNKNOWN_ALCOHOL = 5.0
"""% by which the alcohol of a mash may be off where nobody typed it."""
EXAMPLES = """\b
Examples:
  kuraban reckon mix moromi=2000@7.0 rice=440@12.7
  kuraban reckon mix moromi=2000@7.0 "rice=440@?" --target 8.0
  kuraban reckon mix moromi=2000@9.0 "ice=?" --target 8.0
  kuraban reckon share 11+6+25 22+8+37 44+9+70
  kuraban reckon left tank-2
  kuraban reckon rh 35 30 --draught natural"""


def add_to(app: typer.Typer) -> None:
    about = "The brewer's arithmetic, from figures typed or from the running watch."
    group = typer.Typer(rich_markup_mode=None, no_args_is_help=True, help=about, epilog=EXAMPLES)
    for name, command, example in (
        ("mix", mix, "moromi=2000@7.0 rice=440@12.7"),
        ("room", in_tank, "tank-3 moromi=1500@7 rice=300@12"),
        ("spirit", spirit, "2000 18.2 --target 19.5 --rice 1000"),
        ("share", share, "11+6+25 22+8+37 44+9+70"),
        ("rh", rh, "35 30 --draught natural"),
        ("ice-point", ice_point, "-0.12 -0.06 -0.12 -0.12 -0.06"),
        ("smv", smv, "--smv -20 --alcohol 12"),
        ("hydrometer", hydrometer, "-20 --celsius 18"),
    ):
        epilog = f"Example: kuraban reckon {name} {example}"
        group.command(name=name, epilog=epilog, context_settings=NEGATIVE)(command)
    reckon_place.add_to(group)
    app.add_typer(group, name="reckon")


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
    as_json: AsJson = False,
) -> None:
    """Proportions of the additions (三段仕込み): koji (麹歩合), water (汲水), litres."""
    named = [("starter 酒母", starter)] if starter else []
    names = ["soe 添", "naka 仲", "tome 留", "yodan 四段"]
    if len(additions) > len(names):
        raise wrong("command line", "KAKE+KOJI+WATER", "more than four additions", "give soe on")
    steps = [(n, _triple(t)) for n, t in [*named, *zip(names, additions, strict=False)]]
    rice = sum(kake + koji for _, (kake, koji, _) in steps)
    koji, water = (sum(triple[part] for _, triple in steps) for part in (1, 2))
    swollen = None if measured is None else mixing.swelling(measured, water, rice)
    malted = mixing.koji_share(koji, rice)
    if as_json:
        say_json({"additions": list(_as_documents(steps, rice)), "rice_kg": rice, "koji_kg": koji,
                  "water_litres": water, "koji_percent": malted, "water_percent":
                  100 * water / rice, "swelling_percent": swollen,
                  "specified_name": malted >= mixing.LABEL_KOJI_SHARE})  # fmt: skip
        return
    made = table("", "rice 白米", "share", "koji 麹", "water 汲水", "litres", "",
                 right=("rice 白米", "share", "koji 麹", "water 汲水", "litres"))  # fmt: skip
    litres = 0.0
    for name, (kake, own_koji, wet) in steps:
        own = kake + own_koji
        litres += mixing.mash_litres(wet, own)
        shares = _percent(own, rice), _percent(own_koji, own), _percent(wet, own)
        full = _full(litres, size, dry_below)
        made.add_row(name, f"{own:g} kg", *shares, f"{litres:.0f}", full)
    shares = "", _percent(koji, rice), _percent(water, rice)
    made.add_row("all", f"{rice:g} kg", *shares, f"{litres:.0f}", "")
    console().print(made)
    if swollen is not None:
        say(f"Swelling (留測) {swollen:.0f} %: litres without the water, by kg of rice; usual 105")
    if size is not None and size >= litres > tank_volume.room(size, litres).foaming[1]:
        say("High foam (高泡) of a foaming yeast needs a quarter of the tank or more; see to a cap")
    say(f"Koji share (麹歩合) {malted:.1f} %: "
        + ("enough for a specified name (特定名称)." if malted >= mixing.LABEL_KOJI_SHARE else
           "BELOW the 15 % that a specified name (特定名称) requires."))  # fmt: skip
    say("  usual: koji 20 to 25 %, soe 15 to 20, naka 30, tome 43 to 53 % of the rice, water 130")
    say("  rests on: white rice as weighed, 1.05 L a kilogram; litres ±5 %")
    say("  source: 15 % National Tax Agency, labelling standard for sake; the rest common practice")
    say(ADVICE)


def _as_documents(
    steps: list[tuple[str, tuple[float, float, float]]], rice: float
) -> Iterator[dict[str, object]]:
    """Each addition for a script: kg, litres, %, and the litres of mash up to it."""
    litres = 0.0
    for name, (kake, koji, water) in steps:
        own = kake + koji
        litres += mixing.mash_litres(water, own)
        yield {"name": name.split()[0], "rice_kg": own, "koji_kg": koji, "water_litres": water,
               "rice_percent": 100 * own / rice, "koji_percent": 100 * koji / own,
               "water_percent": 100 * water / own, "mash_litres": litres}  # fmt: skip


def _triple(text: str) -> tuple[float, float, float]:
    try:
        parts = [typed_figures.figure(part) for part in text.split("+")]
    except ValueError:
        parts = []
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
    if draught not in psychrometry.DRAUGHTS:
        raise wrong("command line", "--draught", f'"{draught}"', "write fan, natural or still")
    coefficient = psychrometry.DRAUGHTS[draught]
    pressure = psychrometry.air_pressure(altitude)
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
    found = thermometer_accuracy.ice_point_offset(readings, bath=bath, resolution=step)
    more = [f"for the probe's table in the site file: offset = {now + found.offset:.2f}"]
    if abs(now + found.offset) > thermometer_accuracy.ICE_ERROR:
        more.append("More than a class B Pt100 (0.30) or a DS18B20 (0.5) may err: replace it.")
    more.append("It says nothing of 35 °C: check koji probes there too.")
    told(f"Offset {figure(found.offset, 2, True)} K, good to ±{found.uncertainty:.2f} K (95 %)",
         *more, rests=f"{found.readings} readings, bath ±{bath:g} K, step {step:g} K",
         source="ASTM E563; JCGM 100:2008; tolerances IEC 60751 (from memory)")  # fmt: skip


def smv(
    smv: Annotated[float | None, typer.Option("--smv", help="Sake meter value.")] = None,
    baume: Annotated[float | None, typer.Option("--baume", help="Baume degrees.")] = None,
    sg: Annotated[float | None, typer.Option("--sg", help="Specific gravity 15/4 °C.")] = None,
    alcohol: Annotated[
        float | None, typer.Option(metavar="PERCENT", help="For the extract (エキス分).")
    ] = None,
    acidity: Annotated[
        float | None, typer.Option(metavar="ML", help="For sweet or dry (甘辛度).")
    ] = None,
) -> None:
    """Sake meter value (日本酒度), Baume (ボーメ) and specific gravity (比重) from one of them.

    With its alcohol: extract (エキス分) and original extract (原エキス分).
    """
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
    more, source = [], ['Measurement Act: SMV = (1/SG - 1) × 1443; Nada glossary, "SMV"']
    if alcohol is not None:
        now = density.extract(density.sg_from_smv(smv), alcohol)
        before = density.original_extract(now, alcohol)
        more += [f"Extract (エキス分) {figure(now)} g/100 mL, original extract (原エキス分) "
                 f"{figure(before)}"]  # fmt: skip
        source += ["National Tax Agency analysis methods, OIML R 22"]
    if acidity is not None:
        sweet = figure(density.sweetness(smv, acidity), 1, True)
        more += [f"Sweet (+) or dry (−) (甘辛度): {sweet}"]
        source += ["Sato et al. 1974, J. Soc. Brew. Japan 69:774"]
    told(f"SMV (日本酒度) {figure(smv, 1, True)}, "
         f"Baume (ボーメ) {figure(density.baume_from_smv(smv), 2)}, "
         f"SG {density.sg_from_smv(smv):.4f}", *more,
         rests="the figures typed, at 15 °C", source="; ".join(source))  # fmt: skip


def hydrometer(
    reading: Annotated[float, typer.Argument(metavar="SMV", help="As read.")],
    celsius: Annotated[float, typer.Option(metavar="CELSIUS", help="Of the sample, 5 to 30.")],
    alcohol: Annotated[
        float | None,
        typer.Option(metavar="PERCENT", help="Of the sample; else 15 ±5.", show_default=False),
    ] = None,
    baume: Annotated[bool, typer.Option("--baume", help="What was read is Baume.")] = False,
) -> None:
    """A hydrometer's reading (浮ひょう) off 15 °C, corrected to it."""
    smv = density.smv_from_baume(reading) if baume else reading
    known = (15.0, UNKNOWN_ALCOHOL) if alcohol is None else (alcohol, density.ALCOHOL_ERROR)
    found = density.hydrometer_at_15(smv, celsius, *known)
    told(f"SMV (日本酒度) {figure(found.smv, 1, True)}, "
         f"Baume (ボーメ) {figure(density.baume_from_smv(found.smv), 2)} at 15 °C, "
         f"±{found.error:.1f} SMV",
         f"correction {figure(found.smv - smv, 1, True)} SMV",
         rests=f"{celsius:g} °C ±{density.CELSIUS_ERROR:g}, {known[0]:g} % alcohol ±{known[1]:g}, "
         "its extract as sugar ±30 %; how well the scale is read comes on top",
         source="OIML R 22 for alcohol in water, ICUMSA for sugar, ISO 387 for the glass "
         "(from memory)")  # fmt: skip
