"""A machine in one thread: its clocks, its threads, and how all of them wait.

The watch runs on it as it is, its threads as greenlets, of which one runs at a time and only where
it would wait. Nothing takes time but waiting. Three clocks are told apart as on a real machine: the
monotonic one stands still while the machine is asleep, elapsed time does not, and the wall clock is
whatever somebody set.

Two simplifications, both of which a slow machine would bring about as well: threads that only look
up now and then and find nothing oversleep, four times as long each time until something happens;
and the watch's loop, while no message comes, is late for its deadlines by up to `late` seconds.
"""

from __future__ import annotations

import heapq
import random
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import count
from typing import Any
from unittest import mock

from greenlet import getcurrent, greenlet

from kuraban import clock
from kuraban.edges import ping
from kuraban.edges.mqtt import front_door
from kuraban.edges.phones import courier, delivery_state
from kuraban.runtime import watch

LOOKS_UP = 90.0
"""Seconds after which the watch's loop looks up; the real one does twice a second."""
LONGEST_DOZE, LONGEST_PING_DOZE = 900.0, 30.0
MESSAGE_TAKES = 1e-4
BOOTED = 1000.0


class Killed(BaseException):
    """The process is gone; no code of it may go on."""


class Task(greenlet):
    """One thread of a process."""

    def __init__(self, hub: greenlet, life: Life, name: str, target: Callable[[], None]) -> None:
        super().__init__(self._whole, hub)
        self.life, self.name, self.target = life, name, target
        self.token = 0
        """What a wake-up must bear to be the one that is waited for."""
        self.signalled = self.over = False
        self.dozes = 0
        self.base: float | None = None
        """Of a wait that oversleeps: for how long it was to be."""
        self.error: BaseException | None = None

    def _whole(self) -> None:
        try:
            self.target()
        except Killed:
            self.life.dead = True
        except BaseException as error:
            self.error = error
        finally:
            self.over = True


class Life:
    """One process, from its start to its end."""

    def __init__(self) -> None:
        self.tasks: list[Task] = []
        self.dead = False


class Machine:
    """Times are Unix seconds of true time, which elapsed time follows."""

    def __init__(self, start: float, late: float = 30.0) -> None:
        self.start, self.late = start, late
        self.mono = BOOTED
        self.slept = 0.0
        self.wrong = 0.0
        """By how much the wall clock is ahead of true time."""
        self.awake_at = 0.0
        self._dozing: dict[Task, None] = {}
        self.ended: Callable[[Life], None] = lambda life: None
        """Hears of a process whose main thread, its first, is over, or which was killed."""
        self._hub = getcurrent()
        self._numbers = count()
        self._due: list[tuple[float, int, Task, int]] = []
        self._world: list[tuple[float, int, Callable[[], None]]] = []

    # Clocks.

    @property
    def now(self) -> float:
        return self.start + self.mono + self.slept - BOOTED

    def elapsed(self, _which: int = 0) -> float:
        return self.mono + self.slept

    def wall(self) -> float:
        return self.now + self.wrong

    # What the world does.

    def at(self, moment: float, do: Callable[[], None]) -> None:
        """At a moment, whether the machine is awake or not."""
        heapq.heappush(self._world, (max(moment, self.now), next(self._numbers), do))

    def sleep_until(self, moment: float) -> None:
        """Suspended: the world goes on without it."""
        self.awake_at = max(self.awake_at, moment)

    # What threads do.

    def spawn(self, life: Life, name: str, target: Callable[[], None]) -> Task:
        task = Task(self._hub, life, name, target)
        life.tasks.append(task)
        self._ready(task, self.mono)
        return task

    def _ready(self, task: Task, due: float) -> None:
        heapq.heappush(self._due, (due, next(self._numbers), task, task.token))

    def wake(self, task: Task) -> None:
        task.signalled, task.token = True, task.token + 1
        self._ready(task, self.mono)

    def wait(self, timeout: float | None, *, sharp: bool = False) -> bool:
        """The running thread waits; whether somebody woke it."""
        task = getcurrent()
        assert isinstance(task, Task), "only a thread of the machine can wait"
        if task.life.dead:
            raise Killed
        task.token, task.signalled = task.token + 1, False
        if timeout is not None:
            patience = max(timeout, 0.0)
            self._ready(
                task, self.mono + (patience if sharp else self._oversleeping(task, patience))
            )
        self._hub.switch()
        self._dozing.pop(task, None)
        if task.life.dead:
            raise Killed
        task.dozes = 0 if task.signalled else task.dozes + 1
        return task.signalled

    def _oversleeping(self, task: Task, timeout: float) -> float:
        if task.name == "watch":
            return max(timeout, self.late)
        looks_up = task.name == "ping" or (
            task.name.startswith("courier") and timeout in (1.0, 30.0)
        )
        if not looks_up:
            return timeout
        task.base = timeout
        self._dozing[task] = None
        longest = LONGEST_PING_DOZE if task.name == "ping" else LONGEST_DOZE
        return max(min(timeout * 4.0 ** min(task.dozes, 6), longest), timeout)

    def message(self) -> None:
        """A message was taken from the network."""
        self.mono += MESSAGE_TAKES

    def stir(self) -> None:
        """Something happened that threads look for: none oversleeps it."""
        for task in self._dozing:
            task.dozes = 0
            self._ready(task, self.mono + (task.base or 0.0))
        self._dozing.clear()

    # How time goes on.

    def run_until(self, moment: float) -> None:
        while True:
            while self._due and (self._due[0][2].over or self._due[0][3] != self._due[0][2].token):
                heapq.heappop(self._due)
            thread = self._due[0][0] + self.slept - BOOTED + self.start if self._due else 9e99
            world = self._world[0][0] if self._world else 9e99
            if self.awake_at > self.now:
                if self.awake_at <= min(world, moment):
                    self.slept += self.awake_at - self.now
                    continue
                thread = 9e99
            if min(thread, world) > moment:
                self._go(moment)
                return
            if world <= thread:
                self._go(world)
                heapq.heappop(self._world)[2]()
            else:
                due, _, task, _ = heapq.heappop(self._due)
                self.mono = max(self.mono, due)
                task.switch()
                if task.life.dead or task.life.tasks[0].over:
                    self.ended(task.life)

    def _go(self, moment: float) -> None:
        by = max(moment - self.now, 0.0)
        if self.awake_at > self.now:
            self.slept += by
        else:
            self.mono += by

    def end(self, life: Life) -> None:
        """No thread of a process goes on; called from outside of them."""
        life.dead = True
        for task in life.tasks:
            if task:  # one that has not begun never will
                task.throw(Killed)
            task.over = True

    @contextmanager
    def installed(self, seed: int) -> Iterator[None]:
        """In here all of the watch's modules live on this machine."""
        machine = self
        state = random.getstate()
        random.seed(seed)

        class OwnEvent(Event):
            of = machine

        class OwnCondition(Condition):
            of = machine

        class OwnThread(Thread):
            of = machine

        patched: list[tuple[Any, str, Any]] = [
            (time, "monotonic", lambda: machine.mono), (time, "time", self.wall),
            (time, "clock_gettime", self.elapsed), (time, "sleep", self.wait),
            (clock, "wall_clock", self.wall), (watch, "LONGEST_WAIT", LOOKS_UP),
            (delivery_state, "Condition", OwnCondition),
        ]  # fmt: skip
        for module in (front_door, courier, ping):
            patched += [(module, "Event", OwnEvent), (module, "Thread", OwnThread)]
        patches = [mock.patch.object(*one) for one in patched]
        try:
            for patch in patches:
                patch.start()
            yield
        finally:
            for patch in reversed(patches):
                patch.stop()
            random.setstate(state)


class Event:
    of: Machine

    def __init__(self) -> None:
        self._set = False
        self._waiting: list[Task] = []

    def is_set(self) -> bool:
        return self._set

    def set(self) -> None:
        self._set = True
        waiting, self._waiting = self._waiting, []
        for task in waiting:
            self.of.wake(task)

    def clear(self) -> None:
        self._set = False

    def wait(self, timeout: float | None = None) -> bool:
        if self._set:
            return True
        task = getcurrent()
        assert isinstance(task, Task)
        self._waiting.append(task)
        if not self.of.wait(timeout) and task in self._waiting:
            self._waiting.remove(task)
        return self._set


class Condition:
    """Nobody else runs while one does not wait, so that the lock itself is nothing."""

    of: Machine

    def __init__(self) -> None:
        self._waiting: list[Task] = []

    def __enter__(self) -> Condition:
        return self

    def __exit__(self, *_: object) -> None:
        return None

    def wait(self, timeout: float | None = None) -> bool:
        task = getcurrent()
        assert isinstance(task, Task)
        self._waiting.append(task)
        signalled = self.of.wait(timeout)
        if not signalled and task in self._waiting:
            self._waiting.remove(task)
        return signalled

    def notify_all(self) -> None:
        self.of.stir()
        waiting, self._waiting = self._waiting, []
        for task in waiting:
            self.of.wake(task)


class Thread:
    of: Machine

    def __init__(
        self, *, target: Callable[..., None], args: tuple[Any, ...] = (), name: str = "",
        daemon: bool = True,
    ) -> None:  # fmt: skip
        self._target, self._args, self._name = target, args, name
        self._task: Task | None = None

    def start(self) -> None:
        task = getcurrent()
        assert isinstance(task, Task), "a thread is started by a thread"
        self._task = self.of.spawn(task.life, self._name, lambda: self._target(*self._args))

    def is_alive(self) -> bool:
        return self._task is not None and not self._task.over

    def join(self, timeout: float | None = None) -> None:
        until = self.of.mono + (9e9 if timeout is None else timeout)
        while self.is_alive() and self.of.mono < until:
            self.of.wait(min(0.05, until - self.of.mono), sharp=True)
