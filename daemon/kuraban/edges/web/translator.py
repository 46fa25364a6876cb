"""How the pages speak: one language at one moment, figures and times as the messages write them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime
from typing import ClassVar

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.site import House
from kuraban.core.texts.alarm_facts import SOMEBODY
from kuraban.core.texts.alarm_text import pick
from kuraban.core.texts.messages import Words
from kuraban.core.texts.translator import Speech, figure
from kuraban.core.timescale import moment_of, wall_of
from kuraban.core.units import HOUR, MINUTE, parse_duration, parse_time
from kuraban.core.views.batch_sheet import Proposal
from kuraban.core.views.snapshot import Going, PlaceNow, Ring, Text
from kuraban.edges.web.forms import refusal_reasons as reasons
from kuraban.store.history import Shortened

SIDES = {
    "little-warm": "warm", "warm": "warm", "far-warm": "warm", "little-cold": "cold",
    "cold": "cold", "far-cold": "cold",
}  # fmt: skip
SIGNS = {"warm": "▲", "cold": "▼"}
ARROWS: dict[Going, str] = {"up": "↗", "down": "↘", "level": "→"}
OUTSIDE = frozenset({"warm", "cold", "far-warm", "far-cold"})
JUST_NOW = 90.0
DAYS = frozenset({"day", "earliest", "latest", "ends"})
"""Facts of a proposal that are days."""
TELEPHONE = re.compile(r"(?<![\d.])(?:\+\d{1,3}[ -]?)?\(?\d{2,5}\)?(?:[ -]\d{2,4}){1,3}(?![\d.:])|"
                       r"(?<![\d.])\+?\d{7,15}(?![\d.])")  # fmt: skip
"""Seven figures in a row, or groups of them with hyphens or spaces between; no time of day."""


def choose(
    wished: Sequence[str | None], accepted: str, known: Sequence[str], otherwise: str
) -> str:
    """The language wished for, else the first that the browser accepts, else the house's."""
    for language in wished:
        if language in known:
            return str(language)
    weighed = []
    for number, part in enumerate(accepted[:200].split(",")):
        tag, _, weight = part.strip().partition(";q=")
        try:
            weighed.append((-float(weight or 1), number, tag.partition("-")[0].lower()))
        except ValueError:
            continue
    return next((tag for _, _, tag in sorted(weighed) if tag in known), otherwise)


class Translator:
    """Says what stands in the pages' catalogue under a key, with its fields."""

    def __init__(self, words: Words, language: str, house: House, at: float) -> None:
        self.language = language
        self.at = at
        self._house = house
        self._speech = Speech(words, language, house.zone, at)

    def __call__(self, key: str, /, **fields: object) -> str:
        known = {name: str(value) for name, value in fields.items() if value is not None}
        return self._speech.say(f"pages.{key}", known)

    @property
    def house(self) -> House:
        return self._house

    @property
    def comma(self) -> str:
        """What stands between the names of a list."""
        return self._speech.template("join.list")

    # What the messages name as well.

    def condition(self, name: str) -> str:
        return self._speech.template(f"{name}.name") or name

    def why(self, key: str) -> str:
        return self._speech.template(f"why.{key}") or key

    def work(self, key: str) -> str:
        return self._speech.template(f"work.{key}", f"pages.entry.{key}") or key

    def first(self, condition: str, kind: str) -> str:
        """What to do first, for this kind of place or cooler."""
        return self._speech.template(f"{condition}.{kind}.first", f"{condition}.first")

    def caution(self, key: str) -> str:
        return self._speech.template(f"caution.{key}")

    def measure(self, key: str) -> str:
        return self._speech.template(f"measure.{key}") or key

    def text(self, text: Text) -> str:
        return pick(text, self.language) or ""

    def person(self, who: str | None) -> str | None:
        """The name of a person by id, or what somebody wrote as their name."""
        if who == SOMEBODY:
            return self("state.somebody")
        return None if who is None else self._house.called(who)

    def called(self, who: str) -> str:
        return self._house.called(who)

    def people(self, ids: Sequence[str]) -> str:
        return self._speech.names((self.person(one) or one for one in ids), 20) or ""

    def listed(self, texts: Iterable[str]) -> str:
        return self._speech.names(texts, 20) or ""

    def dialled(self, text: str) -> Iterator[tuple[str, str]]:
        """What stands before each telephone number, and the number; the last has none."""
        last = 0
        for found in TELEPHONE.finditer(text):
            yield text[last : found.start()], found[0]
            last = found.end()
        yield text[last:], ""

    def place(self, place: str) -> str:
        return self._house.name_of(place)

    def stage(self, stage: str) -> str:
        return self._speech.template(f"stage.{stage}") or stage

    def kind(self, logged: Logged) -> str:
        return e.kind_of(logged.entry)

    def told(self, entry: str, stage: str | None = None) -> str:
        """An entry by its kind, and the stage that it names."""
        return self(f"entry.{entry}", stage=None if stage is None else self.stage(stage))

    def did(self, logged: Logged) -> str:
        """An entry in a few words."""
        entry = logged.entry
        match entry:
            case e.StageMark(stage=stage):
                return self("entry.stage", stage=self.stage(stage))
            case e.Addition(what=what):
                return f"{self.work(what)} {self.amounts(entry)}".strip()
            case e.Check(celsius=celsius) | e.Aim(celsius=celsius):
                return f"{self(f'entry.{e.kind_of(entry)}')} {self.celsius(celsius)}"
            case e.Note(text=text):
                return f"{self('entry.note')}: {text}"
            case _:
                return self(f"entry.{e.kind_of(entry)}")

    def amounts(self, one: e.Addition) -> str:
        """The figures of what goes in."""
        told = [
            f"{figure(n, 0 if n >= 100 or n % 1 == 0 else 1)} {unit}"
            for n, unit in ((one.litres, "L"), (one.kg, "kg")) if n
        ]  # fmt: skip
        return " ".join([*told, *([] if one.celsius is None else [self.celsius(one.celsius)])])

    def proposed(self, proposal: Proposal) -> str:
        """What the samples propose for tomorrow's aim, and why."""
        facts = {name: self.figure(v, 0 if name in DAYS else 1) for name, v in proposal.facts}
        why = self(f"redraw.why-{proposal.why}", **facts)
        apart = proposal.celsius - proposal.planned
        if not apart:
            return why
        return why + self(
            "redraw.proposed", change=self.signed(apart), celsius=self.celsius(proposal.celsius),
            when=self.time(proposal.at),
        )  # fmt: skip

    # Why something was not taken.

    def reason(self, text: str) -> str:
        """A reason of the door or the books in this language, as it is where it is not known."""
        found = reasons.read(text, self._speech.words.catalogue["en"])
        if found is None:
            return text
        facts = {name: self._fact(name, fact) for name, fact in found.facts.items()}
        return self(f"reason.{found.key}", **facts) or text

    def field_of(self, reason: str) -> str:
        """The field that a reason of the door names; empty for none."""
        found = reasons.read(reason, self._speech.words.catalogue["en"])
        return "" if found is None else found.facts.get("field", "")

    def _fact(self, name: str, fact: str) -> str:
        """What stood in a field of a reason, by the names that people know."""
        say = self._SAYS.get(name)
        if say is None:
            return fact
        names, more = reasons.listed(fact)
        told = self.comma.join(say(self, one) for one in names)
        return self._speech.say("join.more", names=told, n=str(more)) if more else told

    def _stage_of(self, stage: str) -> str:
        """A stage by its id, whatever course it is of."""
        every = (one for course in self._house.courses for one in course.stages)
        known = (self.text(one.title) for one in every if one.id == stage)
        return self._speech.template(f"stage.{stage}") or next(known, "") or stage

    def _course(self, course: str) -> str:
        known = self._house.course.get(course)
        return course if known is None else self.text(known.title) or course

    def _moment(self, at: str) -> str:
        try:
            return self.clock(moment_of(parse_time(at), self._house.zone))
        except ValueError:
            return at

    def _part(self, phrase: str) -> str:
        return self(f"reason-part.{phrase.replace(' ', '-')}") or phrase

    def _kinds(self, phrase: str) -> str:
        return self.comma.join(self._part(kind) for kind in phrase.split(" or "))

    def _entry(self, kind: str) -> str:
        return self(f"reason-entry.{kind}") or kind

    def _field(self, field: str) -> str:
        return self(f"reason-field.{field.replace('_', '-')}") or field

    _SAYS: ClassVar[dict[str, Callable[[Translator, str], str]]] = {
        "place": place, "places": place, "coolers": place, "course": _course, "courses": _course,
        "stage": _stage_of, "stages": _stage_of, "conditions": condition, "entry": _entry,
        "entries": _entry, "choices": work, "person": called, "other": called, "people": called,
        "when": _moment, "kinds": _kinds, "field": _field,
        **dict.fromkeys(("part", "kind", "found", "wanted", "unit", "duty"), _part),
    }  # fmt: skip

    # Figures and times.

    def figure(self, value: float | None, decimals: int = 1) -> str:
        return "–" if value is None else figure(value, decimals)

    def signed(self, value: float | None, decimals: int = 1) -> str:
        return "" if value is None else figure(value, decimals, True)

    def celsius(self, value: float | None) -> str:
        return self._speech.measure(value) or "–"

    def clock(self, at: float | None) -> str:
        return self._speech.clock(at) or ""

    def time(self, at: float) -> str:
        """The clock alone, for columns of one day."""
        return Speech(self._speech.words, self.language, self._house.zone, at).clock(at) or ""

    def date(self, at: float) -> str:
        return self._speech.date(at)

    def moment(self, spelled: str) -> float:
        """The watch's time of one that is spelled with its offset."""
        return moment_of(parse_time(spelled), self._house.zone)

    def wall(self, at: float) -> float:
        """Unix seconds by the wall clock, for an address."""
        return wall_of(at, self._house.zone)

    def iso(self, at: float) -> str:
        """The date as a table for machines writes it."""
        return datetime.fromtimestamp(at, self._house.zone).date().isoformat()

    def kept(self, short: Shortened) -> str:
        """Where values are summaries, and of how long each is."""
        return self._speech.say(short.key, date=self.date(short.last))

    def age(self, at: float | None) -> str:
        if at is None:
            return ""
        seconds = self.at - at
        if seconds < JUST_NOW:
            return self("age.now")
        if seconds < HOUR:
            return self("age.minutes", n=round(seconds / MINUTE))
        return self("age.since", when=self.clock(at))

    def ago(self, at: float) -> str:
        """How long ago that was."""
        minutes = max(self.at - at, 0.0) / MINUTE
        if minutes < 59.5:
            return self("age.minutes-ago", n=round(minutes))
        return self("age.hours-ago", n=round(minutes / 60))

    def as_of(self, at: float) -> str:
        """When what a page shows was so."""
        return self("line.as-of", when=self.time(at))

    def lasting(self, soonest: float | None, latest: float | None) -> str:
        """From how many hours to how many, towards less; None is beyond two days."""
        if soonest is None:
            return self("hours.beyond")
        if latest is not None and latest < 0.5:
            return self("hours.soon" if latest else "hours.already")
        least, most = self._halves(soonest), None if latest is None else self._halves(latest)
        if least == most:
            return self("hours.about", n=least)
        return self("hours.between", least=least, most=most) or self("hours.least", n=least)

    def length(self, spelled: str) -> str:
        """A duration as a form sends it, such as "3h", as people say it."""
        return self({"h": "length.hours", "m": "length.minutes"}[spelled[-1]], n=spelled[:-1])

    @staticmethod
    def seconds(spelled: str) -> float:
        return parse_duration(spelled)

    @staticmethod
    def _halves(hours: float) -> str:
        return f"{int(hours * 2) / 2 if hours < 6 else int(hours):g}"

    def span(self, hours: float | None) -> str:
        return self._speech.span(hours) or ""

    # A place and an alarm, as they are looked at.

    def side(self, place: PlaceNow) -> str:
        return SIDES.get(place.word, "")

    def sign(self, side: str) -> str:
        return SIGNS.get(side, "")

    def arrow(self, going: Going) -> str:
        return ARROWS[going]

    def word(self, place: PlaceNow) -> str:
        return self(f"word.{place.word}")

    def going(self, place: PlaceNow) -> str:
        if place.going is None or place.rate is None:
            return ""
        return self(f"going.{place.going}", rate=figure(abs(place.rate), 2))

    def standing(self, place: PlaceNow, short: bool = False) -> str:
        """Batch, and its day or hour; the stage too, where there is room."""
        batch = place.batch
        if batch is None:
            return self("batch.none")
        day = batch.day if place.kind == "tank" else None
        return self(
            "batch.day" if day is not None else "batch.hours",
            batch=batch.title or batch.name, day=day, hours=f"{batch.hours:.0f}",
            stage=None if short else self.text(batch.stage_title),
        )  # fmt: skip

    def leaving(self, place: PlaceNow) -> str:
        """What to expect of the next hours if it goes on so."""
        leaving = place.leaving
        if leaving is None:
            return self._not_leaving(place)
        latest = None if leaving.latest is None else self.at + leaving.latest * HOUR
        return self(
            f"leaving.{leaving.edge}-{leaving.side}",
            span=self.span(leaving.soonest),
            soonest=self.clock(self.at + leaving.soonest * HOUR),
            latest=self.clock(latest) or None,
        )

    def _not_leaving(self, place: PlaceNow) -> str:
        """Safe is said only of what is measured, foreseen and cooled."""
        if place.word in OUTSIDE:
            return self("leaving.out")
        if place.product is None:
            return self("leaving.unmeasured")
        if place.cooler_fails is not None and place.cooler is not None:
            hours = place.hours
            left = None if hours is None else self.lasting(hours.soonest, hours.latest)
            return self("leaving.uncooled", cooler=self.place(place.cooler), hours=left)
        return self("leaving.none" if place.foreseen else "leaving.unknown")

    def cooler_fails(self, place: PlaceNow) -> str:
        """What its cooler does not do; empty while nothing is known against it."""
        if place.cooler is None or place.cooler_fails is None:
            return ""
        return self(
            "row.cooler", cooler=self.place(place.cooler), wrong=self.condition(place.cooler_fails)
        )

    def state(self, ring: Ring) -> str:
        once = "-once" if ring.state == "shelved" and ring.once else ""
        return self(
            f"state.{ring.state}{once}",
            who=self.person(ring.by),
            until=self.clock(ring.until) or None,
            reason=ring.reason,
        )
