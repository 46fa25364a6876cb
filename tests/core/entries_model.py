"""What entries come to, told a second time: slowly, and from the contract alone.

Nothing is kept but what people said, in the order in which they said it. Each question is answered
by going through all of it anew: which corrections stand, what each entry says by then, and what
the places are like when the entries that fit have been read in the order of their times.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

MINUTE, HOUR = 60.0, 3600.0
STAGES = ("naka", "tome", "main", "last")
"""Of the course, in its order."""
TANKS = ("tank-3", "tank-4")


@dataclass(frozen=True)
class Said:
    """One entry as somebody made it; `number` is the order in which they came."""

    number: int
    id: str
    tank: str
    kind: str
    at: float
    fields: dict[str, Any] = field(default_factory=dict)

    @property
    def corrects(self) -> str | None:
        return self.fields.get("of") if self.kind in ("take-back", "amend") else None


@dataclass
class Tank:
    """A place after everything that was read so far."""

    batch: str | None = None
    marks: list[tuple[str, float, float]] = field(default_factory=list)
    """Stage, since when, and by how much it is held longer."""
    stir: float | None = None
    check: tuple[float, float] | None = None
    out: bool = False
    let_run: tuple[float, float, float] | None = None
    """From when until when, and how many degrees more."""
    disturbed: list[tuple[str, float, float]] = field(default_factory=list)
    """By what, from when until when."""


class Unfit(Exception):
    """It does not fit what runs."""


class Entries:
    """Everything that was said and taken."""

    def __init__(self) -> None:
        self.taken: list[Said] = []
        self.fates: dict[str, str] = {}

    def say(self, said: Said) -> None:
        """The same id again is nothing; what does not fit is refused and changes nothing."""
        if said.id in self.fates:
            return
        before = self._unfit(self.taken)
        after = [*self.taken, said]
        if self._refused(said, before, after):
            self.fates[said.id] = "refused"
            return
        self.taken = after
        unfit = self._unfit(after)
        for one in after:
            self.fates[one.id] = self._fate(one, unfit)

    def _refused(self, said: Said, before: set[str], after: list[Said]) -> bool:
        about = said
        if said.corrects is not None:
            named = [one for one in self.taken if one.id == said.corrects]
            if not named:
                return True
            if said.kind == "amend" and named[0].corrects is not None:
                return True
            if said.kind == "take-back" and not self._stands(named[0], self.taken):
                return True
            about = self._aim(named[0])
        unfit = self._unfit(after)
        if about.id in unfit and self._stands(about, after):
            return True
        brought = [one for one in after if one.kind in ("batch-start", "move")]
        return any(one.id in unfit - before and one.id != about.id for one in brought)

    def _aim(self, said: Said) -> Said:
        """The entry at which a chain of corrections ends."""
        while said.corrects is not None:
            said = next(one for one in self.taken if one.id == said.corrects)
        return said

    def _stands(self, said: Said, told: list[Said]) -> bool:
        """Unless somebody took it back, and that was not taken back itself."""
        against = [one for one in told if one.kind == "take-back" and one.corrects == said.id]
        return not any(self._stands(one, told) for one in against)

    def _says(self, said: Said, told: list[Said]) -> dict[str, Any]:
        """Its fields by now: amendments in the order of their times."""
        changes = [
            one
            for one in sorted(told, key=lambda one: (one.at, one.number))
            if one.kind == "amend" and one.corrects == said.id and self._stands(one, told)
        ]
        fields = dict(said.fields)
        for change in changes:
            fields |= {name: value for name, value in change.fields.items() if name != "of"}
        return fields

    def _amended(self, said: Said) -> bool:
        return any(
            one.kind == "amend" and one.corrects == said.id and self._stands(one, self.taken)
            for one in self.taken
        )

    def _fate(self, said: Said, unfit: set[str]) -> str:
        if not self._stands(said, self.taken):
            return "taken-back"
        if said.id in unfit:
            return "refused"
        return "amended" if self._amended(said) else "counted"

    # Reading them in the order of their times.

    def _unfit(self, told: list[Said]) -> set[str]:
        return self._read(told)[1]

    def tanks(self) -> dict[str, Tank]:
        return self._read(self.taken)[0]

    def _read(self, told: list[Said]) -> tuple[dict[str, Tank], set[str]]:
        tanks, unfit = {name: Tank() for name in TANKS}, set[str]()
        for said in sorted(told, key=lambda one: (one.at, one.number)):
            if said.corrects is not None or not self._stands(said, told):
                continue
            try:
                self._happens(said, self._says(said, told), tanks)
            except Unfit:
                unfit.add(said.id)
        return tanks, unfit

    def _happens(self, said: Said, says: dict[str, Any], tanks: dict[str, Tank]) -> None:
        tank, at = tanks[said.tank], said.at
        match said.kind:
            case "batch-start":
                self._begins(tank, at, says)
            case "stage":
                self._enters(tank, at, says["stage"])
            case "hold":
                self._holds(tank, at, says["for"])
            case "let-run":
                _needs_batch(tank)
                if says["for"] > 12 * HOUR:
                    raise Unfit
                tank.let_run = at, at + says["for"], says["more"]
            case "batch-end":
                _needs_batch(tank)
                tank.batch, tank.marks, tank.let_run = None, [], None
            case "move":
                self._moves(tank, tanks[says["to"]], same=says["to"] == said.tank)
            case "out-of-service" | "in-service":
                tank.out = said.kind == "out-of-service"
            case "check":
                tank.check = at, says["celsius"]
            case "stir":
                tank.stir = at
                length = says.get("for")
                until = at + (30 * MINUTE if length is None else length + 20 * MINUTE)
                tank.disturbed.append(("stir", at, until))
            case "addition":
                self._pours(tank, at, says["what"])

    def _begins(self, tank: Tank, at: float, says: dict[str, Any]) -> None:
        if tank.batch is not None:
            raise Unfit
        tank.batch, tank.marks = says["batch"], [(says.get("stage", "naka"), at, 0.0)]
        tank.check = tank.let_run = None

    def _enters(self, tank: Tank, at: float, stage: str) -> None:
        _needs_batch(tank)
        if stage not in STAGES or any(stage == known for known, _, _ in tank.marks):
            raise Unfit
        tank.marks = sorted([*tank.marks, (stage, at, 0.0)], key=lambda mark: mark[1])
        tank.let_run = None
        _settles(tank, at)

    def _holds(self, tank: Tank, at: float, length: float) -> None:
        """The stage in force then is so much longer, whatever it was held before."""
        _needs_batch(tank)
        begun = [mark for mark in tank.marks if mark[1] <= at] or tank.marks[:1]
        stage, since, _ = begun[-1]
        others = [mark for mark in tank.marks if mark[0] != stage]
        tank.marks = sorted([*others, (stage, since, length)], key=lambda mark: mark[1])

    def _moves(self, tank: Tank, goal: Tank, same: bool) -> None:
        _needs_batch(tank)
        if goal.batch is not None and not same:
            raise Unfit
        if not same:
            goal.batch, goal.marks = tank.batch, list(tank.marks)
            tank.batch, tank.marks, tank.let_run = None, [], None

    def _pours(self, tank: Tank, at: float, what: str) -> None:
        match what:
            case "water-koji":
                tank.disturbed.append((what, at, at + 3 * HOUR))
            case "rice":
                _settles(tank, at)
                tank.disturbed.append((what, at, at + 90 * MINUTE))
            case _:
                tank.disturbed.append((what, at, at + 30 * MINUTE))


def _needs_batch(tank: Tank) -> None:
    if tank.batch is None:
        raise Unfit


def _settles(tank: Tank, at: float) -> None:
    """Rice, or the mark of the stage, ends what the water of the koji disturbed."""
    tank.disturbed = [
        (why, start, min(end, at) if why == "water-koji" and start <= at else end)
        for why, start, end in tank.disturbed
    ]


def disturbed_until(tank: Tank, at: float) -> float | None:
    """When the stretches that cover a moment, each from within the one before, have all ended."""
    end = None
    for _ in tank.disturbed:
        for _, start, stop in tank.disturbed:
            if start <= (at if end is None else end) and stop > (at if end is None else end):
                end = stop
    return end
