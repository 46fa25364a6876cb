"""What a night's rings are worth, by the night's truth. Knows nothing of how they came about.

A ring of a drift is true from its exit on, give or take what 0.04 °C are worth in time at its rate
and ten minutes; before that it is early, and counts as a false wake. Rings that the truth neither
asks for nor allows are false. One false incident counts once, however often it rings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple

from fixtures.truth import SLACK, UNSURE

SIDES = {
    "warm": "warm", "far-warm": "warm", "trending-warm": "warm",
    "cold": "cold", "far-cold": "cold", "trending-cold": "cold", "overcooling": "cold",
}  # fmt: skip
COOLING = ("stopped", "not-cooling", "warming")
ROLES = {"addition-unlogged": ("crew",), "stage-overdue": ("crew",), "humid": ("crew",)}
LONGEST_UNSURE = 2700.0
ONE_READING = 60.0
"""A minute may pass before a probe says that its cooler is called for."""


class Ring(NamedTuple):
    """One message about one alarm; `loud` unless it is a soundless notice."""

    at: float
    subject: str
    condition: str
    role: str
    wakes: bool
    loud: bool
    rung: int = 0
    message: str = ""
    """Its id: one message may tell of several alarms."""

    @property
    def incident(self) -> tuple[str, str]:
        return self.subject, SIDES.get(self.condition, self.condition)


class Raised(NamedTuple):
    """An alarm that came onto the list, told or not."""

    at: float
    subject: str
    condition: str


class Case(NamedTuple):
    """One misjudgement, for somebody to look at."""

    what: str
    seed: int
    month: int
    subject: str
    kind: str
    detail: str


class Drift(NamedTuple):
    """How one true exit was told; seconds."""

    after_exit: float
    after_due: float
    """After the exit and the stage's delay."""
    unsure: float
    """What 0.04 K are worth in time at its rate."""
    lead: float | None
    """Before the limit was passed; None where it never was."""


@dataclass(slots=True)
class Tally:
    """What one watch came to over all nights."""

    due: dict[str, int] = field(default_factory=dict)
    missed: dict[str, int] = field(default_factory=dict)
    false_wakes: int = 0
    false_by_day: int = 0
    false_trends: int = 0
    """Trends on the list that came to nothing; by night they ring nobody."""
    late: int = 0
    wrong_role: int = 0
    incidents: int = 0
    first_rings: int = 0
    all_rings: int = 0
    drifts: list[Drift] = field(default_factory=list)
    displaced: list[float | None] = field(default_factory=list)
    """Seconds until each displaced probe was on the list as such, None never."""
    displaced_as_product: int = 0
    probed: list[float | None] = field(default_factory=list)
    """Seconds from when a probed cooler's failure was due, None never."""
    unprobed: list[bool] = field(default_factory=list)
    """Whether an unprobed cooler's failure was told before any tank passed its limit."""
    unprobed_told: list[float] = field(default_factory=list)
    """Seconds from the failure of an unprobed cooler until it was told."""
    cases: list[Case] = field(default_factory=list)


def clock(at: float, truth: Mapping[str, Any]) -> str:
    zone = datetime.fromisoformat(truth["start"]).tzinfo
    return datetime.fromtimestamp(at, zone).strftime("%H:%M")


def moment(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def unsure_of(rate: float) -> float:
    """Seconds that 0.04 K are worth at a rate in K an hour."""
    return min(LONGEST_UNSURE, UNSURE / max(rate, 0.01) * 3600.0)


class Night:
    """One night's truth and the rings of one watch."""

    def __init__(
        self, seed: int, month: int, truth: Mapping[str, Any], rings: Sequence[Ring],
        raised: Sequence[Raised], tally: Tally,
    ) -> None:  # fmt: skip
        self.seed, self.month, self.truth = seed, month, truth
        self.rings = sorted(rings)
        self.raised = raised
        self.tally = tally
        self.end = moment(truth["end"])
        self.may = {(subject, condition) for subject, condition in truth["may"]}
        self.asked: set[tuple[str, str]] = set()

    def judge(self) -> None:
        for page in self.truth["pages"]:
            self._page(page)
        self._false()
        self._trends()
        self._messages()
        for incident in self.truth["incidents"]:
            self._incident(incident)

    # What must be told.

    def _page(self, page: Mapping[str, Any]) -> None:
        kind = self._kind(page)
        self.tally.due[kind] = self.tally.due.get(kind, 0) + 1
        conditions = {page["condition"], *page.get("any_of", ())}
        soundless = "notice" in page.get("steps", ())
        told = [
            ring
            for ring in self.rings
            if ring.subject == page["subject"]
            and ring.condition in conditions
            and (ring.loud or soundless)
        ]
        self.asked |= {(page["subject"], condition) for condition in conditions}
        first = self._not_early(page, told)
        if not first:
            self.tally.missed[kind] = self.tally.missed.get(kind, 0) + 1
            until = f"due {page['from'][11:16]} to {page['to'][11:16]}"
            self._case("missed", page["subject"], page["condition"], until)
        elif first[0].at > moment(page["to"]):
            self.tally.late += 1
            when = f"due by {page['to'][11:16]}, told {clock(first[0].at, self.truth)}"
            self._case("late", page["subject"], page["condition"], when)

    def _kind(self, page: Mapping[str, Any]) -> str:
        if page["role"] == "maintenance":
            return "coolers"
        return "blind tanks" if page["condition"] == "unwatched" else "drifts"

    def _not_early(self, page: Mapping[str, Any], told: list[Ring]) -> list[Ring]:
        earliest = self._earliest(page)
        early = [ring for ring in told if ring.at < earliest and ring.wakes]
        if early:
            self.tally.false_wakes += 1
            when = (
                f"right from {clock(earliest, self.truth)}, told {clock(early[0].at, self.truth)}"
            )
            self._case("early", page["subject"], early[0].condition, when)
        return [ring for ring in told if ring.at >= earliest]

    def _earliest(self, page: Mapping[str, Any]) -> float:
        begin = moment(page["from"])
        for one in self.truth["incidents"]:
            same = (one["subject"], one["condition"]) == (page["subject"], page["condition"])
            if same and one.get("left") is not None:
                begin = min(begin, one["left"] - SLACK - unsure_of(one["rate"]))
        return begin

    # What must not.

    def _false(self) -> None:
        told: set[tuple[str, str]] = set()
        for ring in self.rings:
            key = ring.subject, ring.condition
            if not ring.loud or ring.incident in told or key in self.asked or key in self.may:
                continue
            told.add(ring.incident)
            self.tally.false_wakes += ring.wakes
            self.tally.false_by_day += not ring.wakes
            what = "false wake" if ring.wakes else "false by day"
            self._case(what, ring.subject, ring.condition, f"told {clock(ring.at, self.truth)}")

    def _trends(self) -> None:
        """Those that nothing in the truth allows; each side of a tank once a night."""
        seen: set[tuple[str, str]] = set()
        for at, subject, condition in self.raised:
            key = subject, condition
            if not condition.startswith("trending-") or key in self.may or key in seen:
                continue
            seen.add(key)
            self.tally.false_trends += 1
            self._case("trend to nothing", *key, f"listed {clock(at, self.truth)}")

    def _messages(self) -> None:
        loud = [ring for ring in self.rings if ring.loud]
        self.tally.incidents += len({ring.incident for ring in loud})
        self.tally.first_rings += len({ring.message for ring in loud if ring.rung == 0})
        self.tally.all_rings += len({ring.message for ring in loud})
        theirs = {ring.message for ring in loud if ring.role in self._roles(ring)}
        for ring in loud:
            if ring.rung == 0 and ring.message not in theirs:
                self.tally.wrong_role += 1
                self._case("wrong role", ring.subject, ring.condition, f"told {ring.role}")

    def _roles(self, ring: Ring) -> tuple[str, ...]:
        if ring.condition in ROLES:
            return ROLES[ring.condition]
        if ring.condition == "displaced":
            return "maintenance", "crew"
        return ("brewer",) if ring.subject.startswith("tank-") else ("maintenance",)

    # How well it was told.

    def _incident(self, one: Mapping[str, Any]) -> None:
        if one.get("left") is not None:
            self._drift(one)
        elif one["fault"] == "probe-displaced":
            self._displaced(one)
        elif one["fault"].startswith("cooler-"):
            self._cooler(one)

    def _drift(self, one: Mapping[str, Any]) -> None:
        earliest = self._earliest({"from": self.truth["end"], **one})
        group = one["subject"], SIDES[one["condition"]]
        told = [
            ring.at
            for ring in self.rings
            if ring.wakes and ring.incident == group and ring.at >= earliest
        ]
        if told:
            lead = None if one["limit"] is None else one["limit"] - told[0]
            after = told[0] - one["left"], told[0] - one["due"]
            self.tally.drifts.append(Drift(*after, unsure_of(one["rate"]), lead))
            if lead is not None and lead < 0:
                when = f"{-lead / 60:.0f} min after it, {one['rate']:.2f} K/h"
                self._case("told past its limit", one["subject"], one["condition"], when)

    def _displaced(self, one: Mapping[str, Any]) -> None:
        place = f"tank-{one['subject'][1:].partition('-')[0]}"
        found = [r.at for r in self.raised if r[1:] == (one["subject"], "displaced")]
        found = [at for at in found if at >= one["start"]]
        waited = found[0] - one["start"] if found else None
        self.tally.displaced.append(waited)
        if waited is None or waited > 900.0:
            when = "never" if waited is None else f"{waited / 60:.0f} min"
            self._case("displaced late", one["subject"], "displaced", when)
        mistaken = [
            ring
            for ring in self.rings
            if ring.subject == place and ring.condition in SIDES and ring.at >= one["start"]
            and ring.loud and (place, ring.condition) not in self.may
        ]  # fmt: skip
        self.tally.displaced_as_product += bool(mistaken)

    def _cooler(self, one: Mapping[str, Any]) -> None:
        told = [
            ring.at
            for ring in self.rings
            if ring.subject == one["subject"]
            and ring.condition in COOLING
            and ring.at >= one["start"]
        ]
        if one["fault"] == "cooler-stopped":
            due = one["start"] if one["lost_standing_power"] else one["called"]
            if due is None or due + 900.0 > self.end:
                return
            waited = told[0] - due if told else None
            self.tally.probed.append(waited)
            if waited is None or waited > 600.0 + ONE_READING:
                when = "never" if waited is None else f"{waited / 60:.1f} min"
                self._case("cooler late", one["subject"], "stopped", when)
            return
        self.tally.unprobed_told += [at - one["start"] for at in told[:1]]
        if one["told_by"] is not None and one["told_by"] < self.end:
            self.tally.unprobed.append(bool(told) and told[0] <= one["told_by"])

    def _case(self, what: str, subject: str, condition: str, detail: str) -> None:
        near = {subject, subject.replace("tank-", "t") + "-mid"}
        faults = [one["fault"] for one in self.truth["incidents"] if one["subject"] in near]
        kind = f"{condition} ({', '.join(faults) or 'nothing wrong'})"
        self.tally.cases.append(Case(what, self.seed, self.month, subject, kind, detail))
