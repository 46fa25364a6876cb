"""One season in little: the real watch on a simulated machine, and a brewery around it."""

from __future__ import annotations

import json
import logging
import sqlite3
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path
from random import Random
from typing import Any

from kuraban.clock import Clock
from kuraban.core.effects import Turn
from kuraban.core.facts import Logged
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.units import HOUR, MINUTE, show_time
from kuraban.errors import JournalError
from kuraban.runtime.watch import JOURNAL, Watch
from kuraban.store.history import History
from tests.core.house import TOKYO, words
from tests.simulation.answers import Answers
from tests.simulation.brewery import (
    DATED,
    EVERY,
    MARK,
    OF,
    TURNS,
    Warmth,
    house,
    quiver,
    settings,
)
from tests.simulation.broker import Broker, Client, Sent
from tests.simulation.disk import Disk
from tests.simulation.lives import Faults, Pets, Spell, true_moment
from tests.simulation.machine import Event as Bell
from tests.simulation.machine import Life, Machine
from tests.simulation.phones import Phones, Rung
from tests.simulation.script import Event, Script
from tests.store.stored import stored, unpack

SETTLES = 1.6
"""Hours at the end in which nothing is in the way any more."""
RESTARTS = 60.0
SEEN = 6 * MINUTE
"""So long before the end it is back at the latest, however late the disk let it be killed."""
LAST = 300.0
"""Seconds before the end of it in which nobody says anything any more."""
ROOT = "kura"


class Season:
    def __init__(self, script: Script, folder: Path) -> None:
        self.script = script
        self.wrong: list[tuple[str, str]] = []
        self.disk = Disk(folder)
        self.zone, starts = TURNS[script.turns]
        self.began = self._left_behind() if script.schema else starts
        self.machine = Machine(self.began, script.late)
        self.broker = Broker(self.machine, self._broken)
        self.phones = Phones(self.machine, self._heard)
        self.house = house(script.rota, self.zone)
        self.warmth = Warmth(list(script.events))
        self.lives: list[Spell] = []
        self.failing: list[tuple[float, float]] = []
        """When the disk failed."""
        self.forgotten: list[tuple[float, float]] = []
        """When it judged what it never could write down."""
        self.upgraded = self.started_wrong = False
        self.pinged: list[float] = []
        self.marks: list[tuple[float, float]] = [(self.began, self.began)]
        """The watch's time and the true one, which a wall clock that was wrong at a start parts."""
        self.turns: list[Turn] = []
        self.end = self.began + (script.hours + SETTLES) * HOUR
        self._numbers = dict.fromkeys(EVERY, 0)
        self._last: dict[str, tuple[bytes, Any]] = {}
        self._kept: dict[str, list[tuple[float, float]]] = {}
        self._silent: dict[str, list[tuple[float, float]]] = {}
        self._skew = dict.fromkeys(EVERY, 0.0)
        self._away, self._power = RESTARTS, False
        self._answers = 0
        self.answers = Answers(self, script.links)
        self._over = self._at_ring = False

    def _left_behind(self) -> float:
        """The journal of an earlier version; a moment somewhat after its end."""
        (packed,) = (one for one in stored() if f"schema-{self.script.schema}." in one.name)
        with closing(History(unpack(packed, self.journal))) as history:
            return round(history.now() or 0.0) + 10 * MINUTE

    def _broken(self, rule: str, what: str) -> None:
        self.wrong.append((rule, f"{self.clock}: {what}"))

    @property
    def clock(self) -> str:
        hours = (self.machine.now - self.began) / HOUR
        return f"{hours:.3f} h"

    @property
    def journal(self) -> Path:
        return self.disk.data / JOURNAL

    @property
    def life(self) -> Spell:
        return self.lives[-1]

    @property
    def number_of_life(self) -> int:
        return len(self.lives) - 1

    @property
    def watch(self) -> Watch | None:
        """The one that watches now."""
        return self.life.watch if self.life.ended is None and self.life.ready else None

    # From beginning to end.

    def run(self) -> Season:
        logger, faults = logging.getLogger("kuraban"), Faults(self._broken)
        level, spread = logger.level, logger.propagate
        logger.addHandler(faults)
        logger.setLevel(logging.WARNING)
        logger.propagate = False
        self.machine.ended = self._ended
        try:
            with self.disk.installed(), self.machine.installed(self.script.seed):
                self._begin()
                self.machine.run_until(self.end)
                self._stop()
        finally:
            logger.removeHandler(faults)
            logger.setLevel(level)
            logger.propagate = spread
        return self

    def _begin(self) -> None:
        self.start()
        for number, probe in enumerate(EVERY):
            self.machine.at(self.began + 20.0 + 7.0 * number, self._speaking(probe))
        for event in self.script.events:
            do = getattr(self, "do_" + event.do.replace("-", "_"))
            self.machine.at(self.began + event.at * HOUR, lambda do=do, event=event: do(event))  # type: ignore[misc]
        self.machine.at(self.began + self.script.hours * HOUR, self._settle)

    def _settle(self) -> None:
        """Whatever was in the way is put right."""
        self._fix_disk()
        self.broker.back()
        self.machine.wrong = 0.0
        for phone in self.phones.of.values():
            phone.set(self.machine.now, "well")

    def _stop(self) -> None:
        self._over = True
        if self.life.watch is not None:
            self.life.watch.stop()
        self.machine.run_until(self.machine.now + 3 * MINUTE)
        if self.life.ended is None:
            self._broken("stop", "the watch did not end as asked")
            self._ended(self.life)

    def truly(self, moment: float) -> float:
        """When it truly was what the watch calls that moment."""
        return true_moment(self.marks, moment)

    # Lives of the watch.

    def start(self) -> None:
        life = Spell(self.machine.now)
        self.started_wrong = self.started_wrong or self._clock_unknown()
        self.lives.append(life)
        self.disk.begin()

        def client(link: Any, name: str, tls: Any, expiry: int) -> Client:
            made = Client(self.broker, self._bell(), link, name, tls, expiry)
            life.clients.append(made)
            return made

        def main() -> None:
            life.watch = Watch(
                settings(self.script, self.disk.data), words(), clock=Clock(),
                supervisor=Pets(lambda: self._petted(life)),
                on_turn=lambda turn: self._told(life, turn),
                outside=self.answers.outside(client, self.phones.way, self._ping, lambda: False),
            )  # fmt: skip
            life.watch.run()

        self.machine.spawn(life, "watch", main)

    def _clock_unknown(self) -> bool:
        """The wall clock is wrong, or was set while nobody could write that down."""
        if not self.journal.exists():
            return bool(self.machine.wrong)
        with closing(sqlite3.connect(self.journal)) as db:
            try:
                found = db.execute("SELECT ahead FROM clock_step ORDER BY seq DESC").fetchone()
            except sqlite3.OperationalError:  # a schema from before there was such a table
                return bool(self.machine.wrong)
        shown, true = self.marks[-1]
        ahead = 0.0 if found is None else found[0]
        return bool(self.machine.wrong) or abs(ahead + shown - true) > MINUTE

    def _bell(self) -> type[Bell]:
        machine = self.machine

        class Own(Bell):
            of = machine

        return Own

    def _petted(self, life: Spell) -> None:
        life.ready = life.ready or self.machine.now
        life.petted.append(self.machine.now)
        self._mark(life)

    def _told(self, life: Spell, turn: Turn) -> None:
        self.turns.append(turn)
        self._mark(life)

    def _mark(self, life: Spell) -> None:
        if life.watch is not None:
            self.marks.append((life.watch.clock(), self.machine.now))

    def _ping(self, _address: str) -> str:
        self.pinged.append(self.machine.now)
        return ""

    def _ended(self, life: Life) -> None:
        """The process is gone, killed or by itself; the supervisor starts another."""
        assert isinstance(life, Spell)
        if life.ended is not None:
            return
        life.ended = self.machine.now
        error = life.tasks[0].error
        if error is not None and not isinstance(error, JournalError):
            self._broken("crash", repr(error))
        if life.watch is not None and getattr(life.watch, "_failed", False):
            self.forgotten.append((self.failing[-1][0], self.machine.now))
            self.marks = [one for one in self.marks if one[1] <= self.failing[-1][0]]
        for client in life.clients:
            self.broker.leave(client, will=True)
        life.dead = True
        self.disk.take(self._power)
        self.machine.end(life)
        if not self._over:
            latest = max(self.end - SEEN, self.machine.now + RESTARTS)
            self.machine.at(min(self.machine.now + self._away, latest), self.start)
        self._away, self._power = RESTARTS, False

    def do_kill(self, event: Event) -> None:
        if self.life.ended is not None:
            return
        self._away, self._power = max(event.lasts * HOUR, 2.0), event.flag
        if event.what == "upgrade":
            self.upgraded = True
            self.machine.at(self.machine.now + 1.0, self._other_version)
        if event.where == "ring":
            self._at_ring = True
        elif event.number:
            self.disk.fuse = event.number
        else:
            self._ended(self.life)

    def _other_version(self) -> None:
        if self.life.ended is None or not self.journal.exists() or self.disk.fault:
            return
        with closing(sqlite3.connect(self.journal)) as db, db:
            db.execute("UPDATE checkpoint SET version = 'of another age'")

    def do_restart(self, event: Event) -> None:
        if self.life.ended is None and self.life.watch is not None:
            self._away = max(event.lasts * HOUR, 2.0)
            self.life.watch.stop()

    # The machine, its disk and its clock.

    def do_sleep(self, event: Event) -> None:
        self.machine.sleep_until(self.machine.now + event.lasts * HOUR)
        if event.lasts * HOUR > 90.0:
            self.broker.drop()

    def do_clock(self, event: Event) -> None:
        self.machine.wrong += event.number
        self._later(event, lambda: self._set_right())

    def _set_right(self) -> None:
        self.machine.wrong = 0.0

    def do_disk(self, event: Event) -> None:
        if not self.disk.fault:
            self.disk.fault = event.what
            self.failing.append((self.machine.now, 9e99))
            self._later(event, self._fix_disk)

    def _fix_disk(self) -> None:
        if self.disk.fault:
            self.disk.fault = ""
            self.failing[-1] = self.failing[-1][0], self.machine.now

    def _later(self, event: Event, do: Callable[[], None]) -> None:
        self.machine.at(self.machine.now + event.lasts * HOUR, do)

    # The broker.

    def do_drop(self, _event: Event) -> None:
        self.broker.drop()

    def do_broker_down(self, event: Event) -> None:
        self.broker.down()
        self._later(event, self.broker.back)

    def do_broker_empty(self, _event: Event) -> None:
        self.broker.forget()

    def do_shuffle(self, event: Event) -> None:
        """It is down for a while, and tells what it kept in another order."""
        self.do_broker_down(event)
        order = Random(self.script.seed).shuffle
        self.machine.at(
            self.machine.now + event.lasts * HOUR - 1.0, lambda: self.broker.shuffle(order)
        )

    # Probes.

    def _speaking(self, probe: str) -> Callable[[], None]:
        def speak() -> None:
            self._speak(probe)
            self.machine.at(self.machine.now + EVERY[probe] * MINUTE, speak)

        return speak

    def _speak(self, probe: str) -> None:
        now = self.machine.now
        self._numbers[probe] += 1
        number, hours = self._numbers[probe], (now - self.began) / HOUR
        warm = self.warmth.at(OF[probe], hours) + quiver(probe, number)
        value = round(round(warm, 2) + number * MARK, 6)
        if _within(self._silent.get(probe, ()), now) or now > self.end - LAST:
            return
        if probe in self._kept:
            self._kept[probe].append((now + self._skew[probe], value))
            return
        payload = f"{value:.6f}".encode()
        if probe in DATED:
            payload = json.dumps({"value": value, "at": round(now + self._skew[probe], 3)}).encode()
        self._publish(f"reading/{probe}", payload, ("reading", probe, (value,)))
        self._last[probe] = payload, ("reading", probe, (value,))

    def _publish(self, below: str, payload: bytes, what: Any) -> Sent:
        return self.broker.publish(f"{ROOT}/{below}", payload, what)

    def do_drift(self, _event: Event) -> None:
        """`Warmth` knows of it."""

    def do_silent(self, event: Event) -> None:
        now = self.machine.now
        self._silent.setdefault(event.where, []).append((now, now + event.lasts * HOUR))

    def do_backlog(self, event: Event) -> None:
        if event.where not in self._kept:
            self._kept[event.where] = []
            self._later(event, lambda: self._catch_up(event.where))

    def _catch_up(self, probe: str) -> None:
        kept = self._kept.pop(probe)
        if kept and self.machine.now < self.end - LAST:
            payload = json.dumps([{"value": value, "at": round(at, 3)} for at, value in kept])
            what = ("reading", probe, tuple(value for _, value in kept))
            self._publish(f"reading/{probe}", payload.encode(), what)

    def do_mangled(self, event: Event) -> None:
        self._publish(f"reading/{event.where}", event.what.encode(), ("mangled", event.where))

    def do_twice(self, event: Event) -> None:
        """A board that did not hear the broker's answer says it again."""
        if event.where in DATED and event.where in self._last:
            payload, what = self._last[event.where]
            self._publish(f"reading/{event.where}", payload, what)

    def do_skew(self, event: Event) -> None:
        self._skew[event.where] = event.number

    # People.

    def do_phone(self, event: Event) -> None:
        phone = self.phones.of.get(event.where)
        if phone is not None:
            phone.set(self.machine.now, event.what)
            self._later(event, lambda: phone.set(self.machine.now, "well"))

    def do_entry(self, event: Event) -> None:
        now, fields = self.machine.now, dict(event.entry)
        fields.setdefault("id", f"at-{event.at:g}")
        if self.script.schema:  # what an earlier season left may bear the same
            fields |= {key: f"{fields[key]}-anew" for key in ("id", "of") if key in fields}
        if fields["entry"] == "aim":
            fields |= {"who": fields["by"], "by": show_time(round(now + HOUR), TOKYO)}
        if event.lasts:
            fields["at"] = show_time(round(now - event.lasts * HOUR), TOKYO)
        if event.what == "page" and self._on_a_page(event.where, fields):
            return
        for _ in range(1 + event.number):
            self._publish(
                f"log/{event.where}", json.dumps(fields).encode(),
                ("entry", event.where, str(fields["id"])),
            )  # fmt: skip

    def _on_a_page(self, subject: str, fields: dict[str, object]) -> bool:
        watch = self.watch
        if watch is None or not watch.engine.started:
            return False
        house = watch.engine.view.house
        logged = entry_from(fields, subject, house, watch.clock(), "page")
        if isinstance(logged, Logged):
            watch.submit(logged)
        return True

    def _heard(self, rung: Rung) -> None:
        """A phone rang; perhaps somebody answers."""
        if self._at_ring and self.disk.fuse is None:
            self._at_ring, self.disk.fuse = False, 0
        self.answers.heard(rung, Random(f"link {self.script.seed} {rung.person} {rung.title}"))
        chance = Random(f"{self.script.seed} {rung.person} {rung.title}")
        subject = next((one.id for one in self.house.places if one.name in rung.title), None)
        if not rung.urgent or subject is None or chance.random() >= self.script.answers:
            return
        answered = rung.at + chance.uniform(1.0, 25.0) * MINUTE
        if answered > self.end - LAST:
            return
        self._answers += 1
        fields = {"entry": "acknowledge", "id": f"a{self._answers}", "by": rung.person}
        what = ("entry", subject, fields["id"])
        self.machine.at(
            answered,
            lambda: self._publish(f"log/{subject}", json.dumps(fields).encode(), what),
        )


def _within(spells: Sequence[tuple[float, float]], moment: float) -> bool:
    return any(start <= moment <= end for start, end in spells)
