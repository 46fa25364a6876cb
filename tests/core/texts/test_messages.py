"""What the watch says, in both languages, against snapshots that a person has read.

After a deliberate change of wording, `python tests/core/texts/test_messages.py` writes them anew;
read them in both languages before they are kept.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec
import pytest

from kuraban.core.texts.alarm_facts import SOMEBODY, Situation
from kuraban.core.texts.messages import (
    Aim,
    Due,
    Evening,
    First,
    Leaving,
    Morning,
    Night,
    Ring,
    Text,
    Words,
    asks,
    evening,
    gathered,
    in_hand,
    line,
    monthly,
    morning,
    page,
    power_back,
    soundless,
)
from kuraban.core.units import HOUR, MINUTE, parse_time

HERE = Path(__file__).parent
CATALOGUES = HERE.parents[2] / "shared" / "words"
LANGUAGES = ("en", "ja")
WORDS = Words.from_tables({
    language: tomllib.loads((CATALOGUES / f"{language}.toml").read_text("utf-8"))
    for language in LANGUAGES
})  # fmt: skip
ZONE = ZoneInfo("Asia/Tokyo")
NOW = parse_time("2026-02-01T02:20:00+09:00")
FITS = {"en": 240, "ja": 140}
BROKEN = re.compile(
    r"None|nan|[{}\[\]!！]|  |　|\.\.|。。|、、|、。|,,| [,.;:]|\(\)|critical|\bOK\b|\berror\b"
)
CONDITIONS = (
    "warm", "cold", "far-warm", "far-cold", "trending-warm", "trending-cold", "overcooling",
    "humid", "dry", "unwatched", "addition-unlogged", "stage-overdue", "layering", "stir-unlogged",
    "landing-above", "landing-below", "entry-doubtful", "stopped", "not-cooling", "not-heating",
    "short-cycling", "warming", "freezing", "silent", "stuck", "wild", "displaced", "disagrees",
    "broker-lost", "journal-failing", "pages-failing", "clock-wrong", "dark", "history-behind",
    "behind",
)  # fmt: skip
"""Every condition and question that the watch can tell of."""
STEPS = (
    "raised", "acknowledged", "returned", "normal", "shelved", "unshelved", "suppressed",
    "released", "out-of-service", "in-service", "realarmed",
)  # fmt: skip

NAMES = {
    "en": {"tank": "Tank 3", "starter": "Starter 2", "koji-bed": "Koji bed 1",
           "cold-store": "Koji cold store", "chilled-water": "Chiller 1",
           "cold-room": "Cellar cooler", "heater": "Koji heater", "watch": "Nowhere demo brewery",
           "step": "Nowhere demo brewery", "ken": "Ken", "aki": "Aki", "ring": "Ken, ext. 12",
           "two": "Tank 4"},
    "ja": {"tank": "3号タンク", "starter": "酒母2号", "koji-bed": "麹床1",
           "cold-store": "麹冷蔵庫", "chilled-water": "チラー1", "cold-room": "蔵の冷房",
           "heater": "麹室の暖房", "watch": "架空蔵", "step": "架空蔵", "ken": "健", "aki": "亜紀",
           "ring": "健 内線12", "two": "4号タンク"},
}  # fmt: skip
PLACES = ("tank", "starter", "koji-bed", "cold-store")
COOLERS = ("chilled-water", "cold-room", "heater")
SHAPES: dict[str, dict[str, object]] = {
    "tank": {"batch": "12", "day": 12, "planned": 10.3, "last_stir": NOW - 4.5 * HOUR,
             "stage": {"en": "main mash", "ja": "本醪"},
             "last_work": ("late-water", NOW - 10 * HOUR)},
    "starter": {"batch": "15", "hours": 93.0, "planned": 12.0,
                "last_work": ("cask-in", NOW - 2 * HOUR),
                "stage": {"en": "warm casks", "ja": "前暖気"}},
    "koji-bed": {"batch": "K-7", "hours": 31.2, "planned": 38.0,
                 "last_work": ("handwork", NOW - 5 * HOUR),
                 "stage": {"en": "naka-shigoto", "ja": "仲仕事"}},
    "cold-store": {},
}  # fmt: skip
OFF = {"warm": 0.6, "far-warm": 1.2, "trending-warm": 0.3, "cold": -0.6, "far-cold": -1.2,
       "trending-cold": -0.3, "overcooling": -0.5, "unwatched": 0.2}  # fmt: skip
SEEN: dict[str, tuple[str, ...]] = {
    "overcooling": ("valve_open",),
    "addition-unlogged": ("step=-0.84",),
    "stage-overdue": ("stage=naka", f"due={NOW - 4 * HOUR}"),
    "layering": ("gap=1.2",),
    "stir-unlogged": ("gap=0.4",),
    "landing-above": ("gap=0.9",),
    "landing-below": ("gap=0.8",),
    "stopped": ("no_draw", "standing_gone"),
    "not-cooling": ("supply=9.14", "delta=0.2", "served_rising", "pump_dead"),
    "not-heating": ("supply=31.0", "delta=0.3"),
    "short-cycling": ("starts=16",),
    "warming": ("return=9.9",),
    "wild": ("code=-127", "jumps=7"),
    "displaced": ("air=5.1", "was=10.4"),
    "disagrees": ("twin=11.3", "gap=0.9"),
    "entry-doubtful": ("entry=alcohol",),
    "watched-no-more": ("entry=batch-end", "maker=Mio"),
    "watched-less": ("entry=shelve", "maker=Cho"),
    "another-batch": ("entry=amend", "maker=12"),
    "humid": ("wick_dry", "humidity=91"),
    "behind": ("lag=42", "most=t3-mid"),
}


def kinds_of(condition: str) -> tuple[str, ...]:
    """The kinds of place or cooler that can have this condition."""
    if condition in ("warm", "cold", "unwatched"):
        return PLACES
    if condition in ("far-warm", "far-cold", "trending-warm", "trending-cold"):
        return PLACES[:3]
    if condition in ("humid", "dry"):
        return ("koji-bed",)
    where = CONDITIONS.index(condition)
    if where < CONDITIONS.index("stopped"):
        return ("tank",)
    if where < CONDITIONS.index("silent"):
        return {"stopped": COOLERS, "warming": COOLERS[:2], "not-heating": COOLERS[2:]}.get(
            condition, COOLERS[:1]
        )
    if condition == "clock-wrong":
        return "watch", "step"
    return ("probe",) if where < CONDITIONS.index("broker-lost") else ("watch",)


CASES = tuple((condition, kind) for condition in CONDITIONS for kind in kinds_of(condition))


def bare(condition: str, kind: str, language: str) -> Situation:
    """No more known than where and what."""
    name = f"{NAMES[language]['tank']} (t3-mid)" if kind == "probe" else NAMES[language][kind]
    return Situation(at=NOW, subject="t3-mid", name=name, kind=kind, condition=condition)


def full(condition: str, kind: str, language: str) -> Situation:
    """Everything known."""
    names = NAMES[language]
    seen = ("went=03:20", "shows=02:20") if kind == "step" else SEEN.get(condition, ())
    facts: dict[str, object] = {"since": NOW - 160 * MINUTE, "evidence": seen}
    if kind in SHAPES:
        facts |= SHAPES[kind] | place_facts(condition, kind, names)
    elif kind in COOLERS:
        served = (names["koji-bed"],) if kind == "heater" else (names["tank"], names["two"])
        facts |= {"served": served, "service": names["ring"], "hours_left": (4.2, 6.0),
                  "value": 1.24 if condition == "freezing" else 8.24, "limit": 6.0}  # fmt: skip
    elif kind == "probe":
        facts |= {"place_name": names["tank"], "measures": "product", "value": 5.2,
                  "in_hand": names["ken"], "doubtful": True}  # fmt: skip
    return with_facts(bare(condition, kind, language), **facts)


def place_facts(condition: str, kind: str, names: dict[str, str]) -> dict[str, object]:
    cooler = names["heater" if kind == "koji-bed" else "chilled-water"]
    if condition in ("humid", "dry"):
        value, limit = (1.9, 3.0) if condition == "humid" else (7.4, 6.0)
        return {"value": value, "unit": "K", "limit": limit, "planned": None}
    if kind == "cold-store":
        value, limit = (9.4, 8.0) if condition == "warm" else (0.4, 1.0)
        return {"value": value, "limit": limit, "cooler": cooler}
    planned, off = SHAPES[kind]["planned"], OFF.get(condition)
    assert isinstance(planned, float)
    if off is None:
        return {}
    if condition == "unwatched":
        return {"value": planned + off, "cooler": cooler}
    return {"value": planned + off, "cooler": cooler} | going(condition, kind, planned, names)


def going(condition: str, kind: str, planned: float, names: dict[str, str]) -> dict[str, object]:
    """Which way it moves, how long that may last, and the cooler's part in it."""
    way = -1.0 if "cold" in condition or condition == "overcooling" else 1.0
    facts: dict[str, object] = {
        "rate": way * (0.93 if kind == "koji-bed" else 0.15),
        "limit": planned + way * (0.5 if condition.startswith("trending") else 1.0),
    }
    if not condition.startswith("far"):
        facts["hours_left"] = (0.4, 0.7) if kind == "koji-bed" else (2.7, 4.1)
    if kind != "koji-bed" and condition != "overcooling":
        trouble = "stopped" if way > 0 else "freezing"
        facts |= {"cooler_trouble": (trouble, NOW - 165 * MINUTE), "service": names["ring"],
                  "cooler_in_hand": names["ken"] if kind == "tank" else None}  # fmt: skip
    return facts


def with_facts(situation: Situation, **facts: object) -> Situation:
    return msgspec.structs.replace(situation, **facts)


def messages(language: str) -> dict[str, Text]:
    """The messages about more than one alarm, or about none."""
    names = NAMES[language]
    tank, store = full("warm", "tank", language), full("warm", "cold-store", language)
    chiller = full("stopped", "chilled-water", language)
    given = (language, WORDS, ZONE)
    calm = Morning(at=NOW + 4 * HOUR)
    report = Morning(
        at=NOW + 4 * HOUR,
        nights=(
            Night(name=names["tank"], lowest=10.1, highest=10.94, outside=85 * MINUTE),
            Night(name=names["two"], lowest=9.8, highest=10.0),
            Night(name=names["koji-bed"]),
        ),
        rings=(
            Ring(at=NOW, name=names["tank"], condition="warm", who=names["aki"],
                 answered=NOW + 4 * MINUTE),
            Ring(at=NOW, name=names["chilled-water"], condition="stopped"),
        ),
        waited=(full("stuck", "probe", language),),
        probes=((names["two"], "displaced"),),
        aims=(
            Aim(name=names["tank"], now=10.3, then=10.1, by=NOW + 28 * HOUR),
            Aim(name=names["two"], now=9.0, then=9.0, by=NOW + 28 * HOUR),
        ),
        due=(Due(names["two"], {"en": "naka", "ja": "仲添"}, NOW + 7 * HOUR),),
        note={"en": "Tank 4 stirs heavily.", "ja": "4号は櫂が重い。"}[language],
    )  # fmt: skip
    word = Evening(
        at=NOW - 6 * HOUR,
        here=(names["aki"],),
        woken=(names["aki"], names["ken"]),
        first=(First(cooler=names["chilled-water"], name=names["two"], soonest=5.2, latest=8.9),),
        leaving=(Leaving(name=names["tank"], condition="trending-warm", when=NOW + HOUR),),
        unwatched=(
            (names["two"], "no-batch"), (names["starter"], "no-batch"),
            (names["cold-store"], "out-of-service"),
        ),
    )  # fmt: skip
    koji = ((names["koji-bed"], 36.2, 34.1),)
    moved = ((names["tank"], 10.3, 10.9), (names["two"], None, 9.8))
    running = ((names["chilled-water"], False), (names["heater"], True), (names["cold-room"], None))
    return {
        "gathered": gathered((tank, store, chiller), *given),
        "in hand": in_hand(tank, names["aki"], NOW + 110 * MINUTE, *given),
        "in hand, no promise": in_hand(tank, names["aki"], None, *given),
        "soundless": soundless(with_facts(chiller, hours_left=(11.4, 16.0)), *given),
        "morning": morning(report, *given),
        "calm morning": morning(calm, *given),
        "evening": evening(word, *given),
        "calm evening": evening(Evening(at=NOW - 6 * HOUR), *given),
        "monthly": monthly(NOW - 6 * HOUR, (names["tank"],), *given),
        "asked, of each ring of the night": Text(
            "", "\n".join(asked for _, asked in asks(report, *given))
        ),
        "in somebody's hands": in_hand(tank, SOMEBODY, None, *given),
        "power back": power_back(NOW - 10 * HOUR, NOW, running, koji, moved, *given),
    }


def snapshot(language: str) -> str:
    """Everything that the watch can say in one language, to be read by a person."""
    parts = []
    for condition, kind in CASES:
        for word, make in (("full", full), ("bare", bare)):
            text = page(make(condition, kind, language), language, WORDS, ZONE)
            parts.append(f"== {condition}, {kind}, {word}\n{text.title}\n{text.body}\n")
    for name, text in messages(language).items():
        parts.append(f"== {name}\n{text.title}\n{text.body}\n")
    steps = (line(full("warm", "tank", language), step, language, WORDS, ZONE) for step in STEPS)
    return "\n".join([*parts, "== timeline\n" + "\n".join(steps) + "\n"])


def sound(text: str) -> bool:
    """Whether a text is whole: no hole where a value was, no stray mark, nothing shouted."""
    return not BROKEN.search(text) and text == text.strip()


def every_text(language: str) -> list[str]:
    texts = [text for message in messages(language).values() for text in message]
    for condition, kind in CASES:
        for make in (full, bare):
            situation = make(condition, kind, language)
            texts += page(situation, language, WORDS, ZONE)
            texts += [line(situation, step, language, WORDS, ZONE) for step in STEPS]
    return texts


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_message_reads_as_it_was_reviewed(language: str) -> None:
    """Nobody is woken by a sentence that no person has read."""
    reviewed = (HERE / "snapshots" / f"wording-{language}.txt").read_text("utf-8")
    assert snapshot(language) == reviewed


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("condition", CONDITIONS)
def test_every_condition_has_a_first_line_and_a_first_thing_to_do(
    condition: str, language: str
) -> None:
    """A person who is woken is told what, and what to do first, even if little is known."""
    catalogue = WORDS.catalogue[language]
    assert {f"{condition}.{part}" for part in ("name", "title", "first")} <= catalogue.keys()
    for kind in kinds_of(condition):
        text = page(bare(condition, kind, language), language, WORDS, ZONE)
        assert text.title
        first = catalogue.get(f"{condition}.{kind}.first", catalogue[f"{condition}.first"])
        assert kind == "cold-store" or first in text.body


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_message_is_broken(language: str) -> None:
    """What is unknown is left out: no hole, no stray mark, nothing shouted."""
    assert [text for text in every_text(language) if not sound(text)] == []


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(("condition", "kind"), CASES)
def test_whichever_one_fact_is_missing_the_message_holds(
    condition: str, kind: str, language: str
) -> None:
    """A probe that knows no cooler, a batch without a day: the sentence goes, the rest stays."""
    whole, empty = full(condition, kind, language), bare(condition, kind, language)
    for field in msgspec.structs.fields(Situation):
        if field.required:
            continue
        less = with_facts(whole, **{field.name: getattr(empty, field.name)})
        more = with_facts(empty, **{field.name: getattr(whole, field.name)})
        for situation in (less, more):
            text = page(situation, language, WORDS, ZONE)
            assert all(map(sound, text)), field.name


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(("condition", "kind"), CASES)
def test_what_decides_stands_on_a_locked_screen(condition: str, kind: str, language: str) -> None:
    """From the first line to what to do first: 240 Latin or 140 full-width characters."""
    text = page(full(condition, kind, language), language, WORDS, ZONE)
    plain = page(bare(condition, kind, language), language, WORDS, ZONE).body
    catalogue = WORDS.catalogue[language]
    firsts = [
        value for key, value in catalogue.items()
        if key.startswith(f"{condition}.") and key.endswith(".first") and value in plain
    ]  # fmt: skip
    decides = text.body.index(firsts[0]) + len(firsts[0])
    assert len(text.title) + 1 + decides <= FITS[language]


@pytest.mark.parametrize("language", LANGUAGES)
def test_nobody_is_sent_over_the_mash(language: str) -> None:
    """Every product alarm of a tank or starter carries its caution; a cold store carries none."""
    never = {"en": "never lean over", "ja": "覗き込まない"}[language]
    for condition in ("warm", "cold", "far-warm", "far-cold", "overcooling", "unwatched"):
        for kind in kinds_of(condition):
            body = page(bare(condition, kind, language), language, WORDS, ZONE).body
            assert (never in body.lower()) == (kind in ("tank", "starter"))


def test_the_first_line_carries_the_decision() -> None:
    """Place, condition, signed difference, now, plan and hours left, in one line."""
    situation = full("warm", "tank", "en")
    assert page(situation, "en", WORDS, ZONE).title == (
        "Tank 3 warm +0.6: 10.9 °C (plan 10.3), limit in about 2.5 h"
    )
    assert line(situation, "raised", "en", WORDS, ZONE) == (
        "Tank 3 warm +0.6: 10.9 °C (plan 10.3) raised"
    )


def test_below_the_plan_stands_a_true_minus_sign() -> None:
    """A hyphen before a figure is overlooked at night."""
    assert "−0.6" in page(full("cold", "tank", "en"), "en", WORDS, ZONE).title


def test_a_displaced_probe_is_told_by_what_was_seen() -> None:
    """The reader can judge it himself, and is warned of the controller."""
    text = page(full("displaced", "probe", "en"), "en", WORDS, ZONE)
    assert text.title == "Tank 3: probe out? reads 5.2 °C, air 5.1; product was 10.4"
    assert "do not trust the controller" in text.body


def test_a_cold_store_has_no_batch() -> None:
    """A room without a mash is not told about in the words of one."""
    situation = with_facts(full("warm", "cold-store", "en"), batch="12", day=3)
    body = page(situation, "en", WORDS, ZONE).body
    assert "Batch" not in body and "moromi" not in body


def test_unknown_evidence_is_left_out() -> None:
    """A sign that the catalogue has no sentence for does not break the message."""
    plain = full("stopped", "chilled-water", "en")
    odd = with_facts(plain, evidence=(*plain.evidence, "moon=full", "gap", "supply=None"))
    assert page(odd, "en", WORDS, ZONE) == page(plain, "en", WORDS, ZONE)


def test_an_unknown_condition_is_still_told() -> None:
    """A house that runs ahead of its catalogue hears at least where and what."""
    text = page(bare("creaking", "tank", "en"), "en", WORDS, ZONE)
    assert text.title == "Tank 3 creaking"


CARED_FOR = ("electric", "heater", "hot", "licensed", "muro", "press", "spirit", "stir", "tank")
FIRST = {
    "en": ("local rules", "licensed people"),
    "ja": ("地域の決まり", "有資格者"),
}


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("key", CARED_FOR)
def test_a_caution_puts_local_rules_or_licensed_people_first(key: str, language: str) -> None:
    """Pressing, heating, spirit's vapour, tanks under gas, mains at heaters and coolers."""
    said = WORDS.catalogue[language][f"caution.{key}"].lower()
    assert any(one in said for one in FIRST[language])


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_morning_warns_of_what_is_due(language: str) -> None:
    """Once of each work that hurts people, under the list of what is due."""
    words = WORDS.catalogue[language]
    due = (
        Due("T 1", {"en": "heat"}, None, "hot"), Due("T 2", {"en": "heat"}, None, "hot"),
        Due("T 3", None, None, "press"), Due("T 4", {"en": "naka"}, None),
    )  # fmt: skip
    body = morning(Morning(at=NOW, due=due), language, WORDS, ZONE).body
    assert body.count(words["caution.hot"]) == body.count(words["caution.press"]) == 1
    assert ("T 3 pressing" if language == "en" else "T 3 上槽") in body


if __name__ == "__main__":
    for each in LANGUAGES:
        (HERE / "snapshots" / f"wording-{each}.txt").write_text(snapshot(each), "utf-8")
