"""What one alarm says: its first line, and the body in the order in which it is needed.

A locked screen shows about 240 Latin or 140 full-width characters, so the body begins with which
batch, where it is going, the cooler, what was seen, and what to do first with the one caution of
that work; after that comes whatever helps at the tank. A key of the catalogue may be given for one
kind of place or cooler: `warm.koji-bed.first` stands before `warm.first`.

A temperature watch is no gas alarm, and people have died taking the temperature of a tank: no
sentence sends anyone to open a lid, lean over or climb in.
"""

from __future__ import annotations

from math import isfinite
from typing import NamedTuple

from kuraban.core.planned_curve import SCALDS
from kuraban.core.site import BREWING
from kuraban.core.texts.alarm_facts import SOMEBODY, Situation, Title
from kuraban.core.texts.translator import Speech, figure, fill
from kuraban.core.units import HOUR, MINUTE

_OVER_THE_MASH = frozenset({
    "warm", "cold", "far-warm", "far-cold", "trending-warm", "trending-cold", "overcooling",
    "unwatched",
})  # fmt: skip
_OUTSIDE = frozenset({"warm", "cold", "far-warm", "far-cold", "overcooling"})
_AT_THE_HEATER = frozenset({"cold", "far-cold", "trending-cold", "far-warm"})
"""What sends somebody to the heater of a koji room."""
_CAUTION = {
    "layering": "stir", "landing-above": "stir", "landing-below": "stir", "stir-unlogged": "stir",
    "stopped": "electric",
    "not-cooling": "licensed", "not-heating": "heater", "short-cycling": "licensed",
    "warming": "licensed", "freezing": "licensed", "dark": "dark",
}  # fmt: skip
_KINDS = {"room": ("band",), "cold-store": ("band",), "water": ("water", "band")}
_PLACES = BREWING | _KINDS.keys()
_COUNTS = frozenset({"code", "jumps", "starts", "lag"})
_TIMES = frozenset({"due"})
_SIGNED = frozenset({"step"})
_UNITS = {"humidity": "%RH", "depression": "K"}
_TAIL = ("serves", "ring", "probe", "stir", "work", "hand")
_FORECAST = 10 * MINUTE
"""Forecasts are told to these ten minutes, the earlier ones; more would be a pretence."""
_SPIRIT_FOR = 12 * HOUR
"""So long after alcohol went in, spirit may stand about and its vapour hang over the mash."""
_FIRST_SEEN = 2
"""So many sentences of evidence stand before what to do first; the others follow it."""


class Alarm(NamedTuple):
    """A situation made ready to be told in one language."""

    situation: Situation
    speech: Speech
    fields: dict[str, str]

    @classmethod
    def of(cls, situation: Situation, speech: Speech) -> Alarm:
        return cls(situation, speech, _fields(situation, speech))

    def template(self, part: str) -> str:
        """The condition's own template, that for this kind of place or cooler before the rest."""
        condition = self.situation.condition
        kinds = (f"{condition}.{kind}.{part}" for kind in _kinds(self.situation))
        return self.speech.template(*kinds, f"{condition}.{part}")

    def say(self, *keys: str) -> str:
        """The first of these sentences that can be said."""
        return next(filter(None, (self.speech.say(key, self.fields) for key in keys)), "")

    @property
    def title(self) -> str:
        return fill(self.template("title"), self.fields) or self.brief

    @property
    def brief(self) -> str:
        """Place and condition in a few words."""
        differs = "{difference}" in self.template("title")
        return self.say("brief.differs" if differs else "brief.plain", "brief.plain")

    @property
    def still(self) -> str:
        """The first line without the hours left, which are old once it is read in a timeline."""
        lasting = {key: text for key, text in self.fields.items() if key != "left"}
        return self._replace(fields=lasting).title

    @property
    def first(self) -> str:
        """What to do first, in one line."""
        return self.template("first")

    @property
    def caution(self) -> str:
        spirit = self.say("caution.spirit") if _spirit(self.situation) else ""
        return self.speech.join([self.say(f"caution.{_caution(self.situation)}"), spirit])

    @property
    def body(self) -> str:
        seen = self._evidence()
        return self.speech.join([
            _batch(self.situation, self.speech),
            self._course(),
            self._cooler(),
            *seen[:_FIRST_SEEN],
            self.first,
            self.caution,
            *seen[_FIRST_SEEN:],
            self.template("also"),
            *(self.say(f"told.{key}") for key in _TAIL),
            self.say("told.again") if self.situation.doubtful else "",
        ])  # fmt: skip

    def _course(self) -> str:
        """Since when, and where it is going."""
        rate = self.situation.rate
        title = self.template("title")
        said = any(f"{{{moment}}}" in title for moment in ("since", "due", "went"))
        since = "" if said else "told.since"
        if self.situation.kind not in _PLACES or rate is None or abs(rate) < 0.005:
            return self.say(since)
        way = "rising" if rate > 0 else "falling"
        if self.situation.condition in _OUTSIDE:
            return self.say(f"moving.{way}.since", f"moving.{way}.now")
        return self.say(f"moving.{way}.now")

    def _cooler(self) -> str:
        """The cooler of this place: its trouble and who has it, or that none was seen."""
        if self.situation.cooler_trouble is None:
            matters = _OVER_THE_MASH - {"overcooling"}
            return self.say("cooler.quiet") if self.situation.condition in matters else ""
        return self.say("cooler.in-hand", "cooler.open")

    def _evidence(self) -> list[str]:
        """What was seen, without what the first line said already."""
        title = self.template("title")
        keys = (each.partition("=")[0] for each in self.situation.evidence)
        return [self.say(f"evidence.{key}") for key in keys if f"{{{key}}}" not in title]


def _kinds(now: Situation) -> tuple[str, ...]:
    """What a place is called in the catalogue, the narrowest word first."""
    if now.banded and now.kind in BREWING:
        return "sake", "band"
    return _KINDS.get(now.kind, (now.kind,))


def pick(title: Title, language: str) -> str | None:
    """A text in this language, else in whichever there is."""
    return title.get(language) or next(iter(title.values()), None)


def known(**fields: str | None) -> dict[str, str]:
    """The fields that are known."""
    return {name: text for name, text in fields.items() if text}


def person(who: str | None, speech: Speech) -> str | None:
    """A person's name; "somebody" in this language where nobody was named."""
    return speech.template("told.somebody") if who == SOMEBODY else who


def _fields(situation: Situation, speech: Speech) -> dict[str, str]:
    now = situation
    fields = known(stage=speech.template("stage.next"))
    for each in now.evidence:
        key, _, value = each.partition("=")
        fields |= known(**{key: _seen(key, value, speech)})
    fields |= known(
        name=now.name,
        place=now.place_name or now.name,
        condition=speech.template(f"{now.condition}.name") or now.condition,
        probe=speech.template(f"measure.{now.measures}", "measure.unknown"),
        id=now.subject if now.kind == "probe" else None,
        value=speech.measure(now.value, now.unit),
        planned=_bare(now.planned),
        difference=_difference(now),
        limit=_bare(now.limit),
        rate=None if now.rate is None else figure(abs(now.rate), 2),
        since=speech.clock(now.since),
        stir=speech.clock(now.last_stir),
        cooler=now.cooler,
        who=person(now.cooler_in_hand, speech),
        service=now.service,
        served=speech.names(now.served),
        hand=person(now.in_hand, speech),
    )
    for more in (_ahead, _trouble, _work, _air):
        fields |= more(now, speech)
    return fields


def _difference(now: Situation) -> str | None:
    """Signed and to one decimal, taken between the figures as shown, so that the sum is right."""
    if now.value is None or now.planned is None:
        return None
    return figure(round(now.value, 1) - round(now.planned, 1), signed=True)


def _bare(value: float | None) -> str | None:
    return None if value is None else figure(value)


def _ahead(now: Situation, speech: Speech) -> dict[str, str]:
    """Time left at the pessimistic end, and from when to when it runs out if that is near."""
    if now.hours_left is None:
        return {}
    soonest, latest = (max(0.0, hours) for hours in now.hours_left)
    near = latest <= 24
    times = (
        max(now.at, (now.at + hours * HOUR) // _FORECAST * _FORECAST)
        for hours in (soonest, max(soonest, latest))
    )
    return known(left=speech.span(soonest), reach=speech.stretch(*times) if near else None)


def _trouble(now: Situation, speech: Speech) -> dict[str, str]:
    if now.cooler_trouble is None:
        return {}
    condition, since = now.cooler_trouble
    name = speech.template(f"{condition}.name") or condition
    return known(trouble=name, trouble_since=speech.clock(since))


def _work(now: Situation, speech: Speech) -> dict[str, str]:
    """The latest work other than a stir, where people have a word for it."""
    if now.last_work is None:
        return {}
    name, at = now.last_work
    return known(work=speech.template(f"work.{name}") or name, worked=speech.clock(at))


def _air(now: Situation, speech: Speech) -> dict[str, str]:
    """Of the air of a koji room, the one measure that the alarm is about."""
    if now.condition not in ("humid", "dry"):
        return {}
    shown = speech.measure(now.value, now.unit)
    return known(**{"humidity" if now.unit.startswith("%") else "depression": shown})


def _seen(key: str, value: str, speech: Speech) -> str | None:
    """The value of a piece of evidence as people write it; text that is no number as it is."""
    if value == "None":
        return None
    if key == "maker":
        return value
    if key == "entry":
        return speech.template(f"work.{value}") or value
    if key == "stage":
        return speech.template(f"stage.{value}") or value
    try:
        number = float(value)
    except ValueError:
        return value
    if not isfinite(number):
        return None
    if key in _TIMES:
        return speech.clock(number)
    if key in _COUNTS:
        return figure(number, 0 if number.is_integer() else 1)
    if key in _UNITS:
        return speech.measure(number, _UNITS[key])
    return figure(number, signed=key in _SIGNED)


def _batch(now: Situation, speech: Speech) -> str:
    """Which batch, how far, which stage; nothing of the kind for a room or a store."""
    if now.kind not in BREWING:
        return ""
    batch = now.batch or ""
    hours = None if now.hours is None or now.day is not None else f"{now.hours:.0f}"
    parts = [
        speech.say("batch.number" if batch.isdigit() else "batch.name", known(batch=batch)),
        speech.say("batch.day", known(day=None if now.day is None else str(now.day))),
        speech.say(f"batch.hours.{now.kind}", known(hours=hours)),
        pick(now.stage, speech.language) or "",
    ]
    listed = speech.template("join.clauses").join(filter(None, parts))
    return speech.say("batch.sentence", known(parts=listed))


def _caution(now: Situation) -> str:
    """The key of the one caution of the work that this message leads to; "" if it hurts nobody."""
    if now.kind == "probe":
        return "reach" if now.measures == "product" else ""
    if now.kind == "heater" and now.condition in _CAUTION:
        return "heater"
    if now.kind == "koji-bed" and now.condition in _AT_THE_HEATER:
        return "muro"
    if now.kind == "starter" and now.condition in ("cold", "far-cold", "trending-cold"):
        return "cask"
    if now.kind in ("tank", "starter") and (now.planned or 0.0) >= SCALDS:
        return "hot"
    if now.kind in ("tank", "starter") and now.condition in _OVER_THE_MASH:
        return "lid"
    return _CAUTION.get(now.condition, "")


def _spirit(now: Situation) -> bool:
    """Whether alcohol went into this tank not long ago."""
    if now.last_work is None:
        return False
    name, at = now.last_work
    return name == "alcohol" and now.at - at < _SPIRIT_FOR
