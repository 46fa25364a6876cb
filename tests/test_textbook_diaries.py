"""Every course that comes with the watch: a batch as the textbooks tell it rings nobody, and the
same batch once its cooling or its heat is gone does.

A diary is what a crew wrote down: stage by stage its hours and the degrees at some of them,
straight between. Figures are common practice, those of starters, koji and heating as the Nada Sake
Research Group's glossary has them; none is the course's own line. A saw-tooth and the probe's noise
come on top.
"""

from __future__ import annotations

import math
import random
from itertools import pairwise
from typing import NamedTuple

import msgspec
import pytest

from kuraban.core.site import Place, PlaceKind, Probe
from kuraban.core.units import MINUTE
from kuraban.settings import built_in_courses
from tests.core.detectors.kit import Night, house

COURSES = {course.id: course for course in built_in_courses()}
Line = tuple[tuple[float, float], ...]


class Written(NamedTuple):
    """One stage of a diary: its hours, and °C at hours into it."""

    stage: str
    hours: float
    line: Line


def on(stage: str, hours: float, *points: tuple[float, float]) -> Written:
    return Written(stage, hours, points)


def days(stage: str, *mornings: float) -> Written:
    """A stage by its mornings."""
    return on(stage, 24.0 * len(mornings), *((24.0 * n, one) for n, one in enumerate(mornings)))


def filled(soe: float, odori: float, naka: float, tome: float) -> tuple[Written, ...]:
    return (
        on("soe", 24, (0, soe - 1.5), (10, soe - 1), (24, odori)),
        on("odori", 24, (0, odori), (24, odori + 0.8)),
        on("naka", 24, (0, naka + 0.3), (24, naka + 0.6)),
        on("tome", 22, (0, tome + 0.4), (22, tome + 0.7)),
    )


OLD_WAY = (
    on("hatsu-daki", 24, (0, 6.4), (3, 8.8), (24, 7.4)),
    on("mae-daki", 216, *((24.0 * n + h, 7.4 + 0.85 * n + up) for n in range(9)
                          for h, up in ((0.0, 0.0), (6.0, 0.1), (9.0, 1.9), (23.9, 0.8)))),
    on("fukure", 72, (0, 15.0), (24, 17.5), (48, 20.0), (72, 21.8)),
    on("wakitsuki-yasumi", 72, (0, 21.8), (12, 23.0), (36, 23.5), (72, 22.4)),
)  # fmt: skip
KOJI = (
    on("hikikomi", 4, (0, 36.0), (1, 34.0), (4, 32.0)),
    on("toko-momi", 16, (0, 30.0), (16, 31.6)),
    on("kirikaeshi", 4, (0, 31.0), (4, 32.6)),
    on("mori", 7, (0, 32.2), (7, 35.7)),
)
DIARIES: dict[str, tuple[Written, ...]] = {
    "moromi-ordinary-20": (*filled(12.5, 13.5, 9.5, 8.0), days(
        "moromi", 9.2, 10.9, 12.4, 13.4, 14.3, 14.9, 15.3, 15.3, 15.2, 15.2, 15.0, 14.6, 14.0, 13.4,
        13.0, 12.4, 12.0, 11.2, 10.5)),
    "moromi-slow-33": (*filled(12.0, 13.2, 7.5, 6.0), days(
        "rise", 6.6, 7.2, 7.6, 8.2, 8.7, 9.1, 9.6, 10.1), days(
        "moromi", *[10.4] * 5, 10.1, 9.9, 9.8, 9.6, 9.2, 8.8, 8.6, 8.2, 8.0, 7.8, 7.4, 7.0, 6.8,
        6.5, 6.2, 5.9, 5.5, 5.2)),
    "moromi-four-stage-22": (*filled(12.5, 13.5, 9.5, 8.0), days(
        "moromi", 9.2, 10.9, 12.4, 13.4, 14.3, 14.9, 15.3, 15.3, 15.2, 15.2, 15.0, 14.6, 14.0, 13.4,
        13.0, 12.4, 12.2), days("yodan", 13.6, 12.9, 12.2)),
    "moromi-ginjo-38": (*filled(12.0, 13.0, 7.5, 5.4), days(
        "rise", 6.1, 6.6, 7.0, 7.4, 7.9, 8.4, 8.8, 9.3, 9.7), days(
        "moromi", *[10.1] * 6, 9.8, 9.6, 9.4, 9.2, 8.9, 8.5, 8.2, 8.0, 7.6, 7.4, 7.1, 6.7, 6.5, 6.1,
        5.9, 5.5, 5.3, 5.2, 5.0, 4.7)),
    "moromi-warm-15": (*filled(14.0, 15.2, 12.0, 10.5), days(
        "moromi", 11.8, 13.8, 15.6, 16.8, 17.2, 17.3, 17.2, 17.0, 16.6, 16.1, 15.6, 14.8, 13.6)),
    "moromi-trial-24": (*filled(12.0, 13.2, 9.0, 7.5), days(
        "moromi", 8.4, 9.2, 10.1, 10.4, 11.6, 12.2, 12.8, 12.7, 12.4, 12.3, 12.6, 12.4, 12.2, 11.8,
        11.7, 11.3, 11.1, 10.5, 10.1, 9.8, 9.3)),
    "starter-sokujo-14": (
        on("shikomi", 8, (0, 20.0), (8, 17.6)),
        on("kumikake", 14, (0, 17.4), (14, 10.4)),
        on("utase", 26, (0, 10.3), (12, 8.2), (26, 6.6)),
        on("hatsu-daki", 24, (0, 6.5), (3, 9.0), (24, 7.9)),
        on("mae-daki", 96, (0, 7.9), (3, 9.8), (24, 9.4), (27, 11.4), (48, 11.0), (51, 13.2),
           (72, 12.8), (75, 15.0), (96, 15.0)),
        on("fukure", 24, (0, 15.2), (12, 16.8), (24, 18.6)),
        on("wakitsuki-yasumi", 60, (0, 19.0), (12, 21.0), (36, 21.8), (60, 20.8)),
        on("wake", 72, (0, 20.4), (24, 15.4), (72, 10.2)),
        on("karashi", 48, (0, 9.8), (24, 7.2), (48, 6.8)),
    ),
    "starter-kimoto-28": (
        on("shikomi", 24, (0, 8.2), (24, 7.1)), on("utase", 96, (0, 7.0), (48, 6.2), (96, 6.3)),
        *OLD_WAY,
        on("wake", 96, (0, 22.2), (24, 17.2), (96, 9.2)), on("karashi", 72, (0, 9.0), (72, 6.0)),
    ),
    "starter-yamahai-28": (
        on("shikomi", 24, (0, 8.6), (24, 7.2)), on("utase", 120, (0, 7.0), (48, 5.8), (120, 6.3)),
        *OLD_WAY,
        on("wake", 72, (0, 22.2), (24, 17.2), (72, 10.2)), on("karashi", 72, (0, 9.8), (72, 6.2)),
    ),
    "starter-hot-7": (
        on("shikomi", 6.5, (0, 58.0), (3, 57.0), (6.5, 56.2)),
        on("rei", 4, (0, 56.2), (1.3, 41.5), (2.5, 30.0), (4, 24.0)),
        on("wakitsuki", 52, (0, 24.0), (8, 20.8), (30, 21.4), (52, 20.2)),
        on("wake", 48, (0, 20.0), (24, 14.6), (48, 9.4)),
        on("karashi", 48, (0, 9.2), (48, 7.0)),
    ),
    "starter-warm-8": (
        on("shikomi", 24, (0, 26.0), (24, 21.6)),
        on("wakitsuki", 72, (0, 21.6), (24, 21.4), (48, 22.0), (72, 20.6)),
        on("wake", 48, (0, 20.4), (24, 14.4), (48, 9.4)),
        on("karashi", 48, (0, 9.2), (48, 6.8)),
    ),
    "koji-tray-48": (*KOJI, on("naka-shigoto", 6, (0, 35.0), (6, 40.2)),
                     on("shimai-shigoto", 2, (0, 40.2), (0.4, 39.4), (2, 40.2)),
                     on("saiko", 8, (0, 40.4), (8, 40.8))),
    "koji-box-48": (*KOJI[:1], on("toko-momi", 16, (0, 30.6), (16, 31.8)), *KOJI[2:],
                    on("naka-shigoto", 6, (0, 35.2), (6, 40.4)),
                    on("shimai-shigoto", 2, (0, 40.4), (0.4, 39.5), (2, 40.3)),
                    on("saiko", 8, (0, 40.5), (8, 40.9))),
    "koji-tray-cool-48": (*KOJI, on("naka-shigoto", 6, (0, 34.4), (6, 38.5)),
                          on("shimai-shigoto", 3, (0, 38.5), (0.4, 37.2), (3, 39.2)),
                          on("saiko", 8, (0, 39.4), (1, 41.0), (8, 41.4))),
    "koji-bed-44": (
        on("hikikomi", 3, (0, 34.0), (1, 32.8), (3, 31.6)),
        on("toko-momi", 15, (0, 31.0), (15, 32.2)),
        on("mori", 9, (0, 32.0), (9, 35.6)), on("naka-shigoto", 6, (0, 35.0), (6, 38.8)),
        on("shimai-shigoto", 3, (0, 38.6), (0.4, 37.0), (3, 39.8)),
        on("saiko", 8, (0, 40.2), (2, 41.2), (8, 41.2)),
    ),
    "koji-ginjo-52": (
        on("hikikomi", 3, (0, 34.5), (1, 33.4), (3, 31.6)),
        on("toko-momi", 17, (0, 30.8), (17, 31.6)),
        on("kirikaeshi", 5, (0, 31.0), (5, 32.2)), on("mori", 9, (0, 32.2), (9, 34.8)),
        on("naka-shigoto", 7, (0, 34.2), (7, 38.2)),
        on("shimai-shigoto", 4, (0, 38.2), (0.4, 36.6), (4, 40.2)),
        on("saiko", 7, (0, 40.6), (2, 42.0), (7, 42.2)),
    ),
    "sake-heated": (
        on("settle", 216, (0, 6.0), (24, 8.4), (216, 9.6)),
        on("heat", 1.7, (0, 14.0), (0.6, 65.4), (1.7, 63.4)),
        on("cool", 14, (0, 63.0), (2, 46.0), (6, 30.0), (14, 23.0)),
        on("store", 480, (0, 22.6), (96, 16.0), (240, 15.2), (480, 18.4)),
    ),
    "sake-raw-cold": (
        on("settle", 120, (0, 7.0), (24, 6.0), (120, 3.4)),
        on("store", 240, (0, 2.8), (48, -1.4), (240, -2.6)),
    ),
}  # fmt: skip
KIND: dict[str, PlaceKind] = {"starter": "starter", "koji": "koji-bed"}
POURED = {"soe", "naka", "tome", "yodan"}
WORKED = {"hikikomi", "toko-momi", "kirikaeshi", "mori", "naka-shigoto", "shimai-shigoto"}
SLIGHT = {"stage-overdue", "humid", "dry"}


def watched(course: str) -> Night:
    kind = KIND.get(course.split("-")[0], "tank")
    every = {"koji-bed": 3, "starter": 5, "tank": 10}[kind] * MINUTE
    if course == "sake-heated":
        every = 2 * MINUTE
    place = Place(id="tank", kind=kind, name="Tank 1")
    probe = Probe(id="mid", of="tank", measures="product", every=every)
    return Night(house(place, probe, courses=(COURSES[course],)))


def between(line: Line, hour: float) -> float:
    before = [one for one in line if one[0] <= hour] or [line[0]]
    after = [one for one in line if one[0] > hour] or [line[-1]]
    (t0, v0), (t1, v1) = before[-1], after[0]
    return v0 if t1 <= t0 else v0 + (v1 - v0) * (hour - t0) / (t1 - t0)


def lived(course: str, until: str | None = None, gone: float = 0.0, hours: float = 0.0) -> Night:
    """A diary through the watch; in the stage `until`, from its middle on, `gone` K an hour off the
    diary for so many hours, and no further."""
    night, rng = watched(course), random.Random(course)
    for number, written in enumerate(DIARIES[course]):
        start = night.minute
        if number == 0:
            night.batch(course=course, since=0)
        elif COURSES[course].stages[number - 1].ends == "crew" or written.stage in WORKED:
            night.log("tank", "stage", stage=written.stage)
        leaves = start + 30 * written.hours if written.stage == until else math.inf

        def told(minute: float) -> float:
            off = gone * max(minute - leaves, 0.0) / 60  # noqa: B023
            tooth = 0.04 * math.sin(minute / 25)
            hour = (minute - start) / 60  # noqa: B023
            return between(written.line, hour) + off + tooth + rng.gauss(0, 0.02)  # noqa: B023

        end = start + 60 * written.hours if written.stage != until else leaves + 60 * hours
        for at, entry, fields in work(written, start):
            if at < end:
                night.play(at, mid=told)
                night.log("tank", entry, **fields)
        night.play(end, mid=told)
        if written.stage == until:
            break
    return night


def work(written: Written, start: float) -> list[tuple[float, str, dict[str, str]]]:
    """What the crew logs in a stage, by the minute: what is poured in, hands, casks in and out."""
    if written.stage in POURED:
        return [(start, "addition", {"what": "rice"})]
    if written.stage in WORKED:
        return [(start, "handwork", {"within": "1h"})]
    found: list[tuple[float, str, dict[str, str]]] = []
    for (t0, v0), (t1, v1) in pairwise(written.line):
        if v1 - v0 >= 1.5 and t1 - t0 <= 4:
            found += [(start + 60 * t0, "cask-in", {}), (start + 60 * t1, "cask-out", {})]
    return found


def conditions(night: Night) -> set[str]:
    return {alarm.partition("/")[2] for alarm in night.alarms()}


def test_every_course_has_its_diary() -> None:
    assert set(DIARIES) == set(COURSES)
    for course, diary in DIARIES.items():
        ids = [stage.id for stage in COURSES[course].stages]
        assert [one.stage for one in diary] == ids[: len(diary)]


@pytest.mark.parametrize("course", DIARIES)
def test_a_textbook_batch_rings_nobody(course: str) -> None:
    assert conditions(lived(course)) - SLIGHT == set()


@pytest.mark.parametrize(
    ("course", "stage", "gone", "hours", "told"),
    [
        *((name, "moromi", 0.15, 14, "warm") for name in DIARIES if name.startswith("moromi")),
        *((name, "moromi", -0.2, 16, "cold") for name in DIARIES if name.startswith("moromi")),
        *((name, "karashi", 0.4, 9, "warm") for name in DIARIES if name.startswith("starter")),
        ("starter-hot-7", "shikomi", -2.0, 3, "cold"),
        ("starter-hot-7", "wakitsuki", 0.5, 8, "warm"),
        ("starter-warm-8", "wakitsuki", 0.5, 8, "warm"),
        *((name, "saiko", -1.5, 2.5, "cold") for name in DIARIES if name.startswith("koji")),
        *((name, "naka-shigoto", 1.6, 2.5, "warm") for name in DIARIES if name.startswith("koji")),
        ("sake-heated", "heat", -9.0, 0.8, "cold"),
        ("sake-heated", "store", 0.2, 60, "warm"),
        ("sake-raw-cold", "store", 0.4, 30, "warm"),
    ],
)
def test_a_batch_that_drifts_rings(
    course: str, stage: str, gone: float, hours: float, told: str
) -> None:
    """Cooling gone, a valve stuck open, a heater out, a heating that never came to its 62 °C."""
    assert told in conditions(lived(course, stage, gone, hours))


def test_the_kits_place_is_one_of_the_house() -> None:
    """Nothing of the course was changed for the rehearsal."""
    night = watched("starter-hot-7")
    assert msgspec.to_builtins(night.home.courses[0]) == msgspec.to_builtins(
        COURSES["starter-hot-7"]
    )
