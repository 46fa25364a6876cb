"""The courier: takes messages out of the outbox to people's phones, and says what became of them.

One thread for each way to each person, so that a service that hangs delays no other one and no
other person, and never a second thread for one that hangs. `desk` decides who is given what; here
are the threads and Apprise.

Addresses are secrets. They stay in the senders: reports, records and the outbox know a service as
"aki's 1st address", and Apprise's and urllib3's own logs, which name hosts and paths, are shut.
"""

from __future__ import annotations

import logging
import re
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from threading import Event, Thread
from typing import Final, Protocol

from apprise import Apprise, AppriseAsset, NotifyFormat, NotifyType

from kuraban.core.facts import Delivered
from kuraban.edges.desk import Desk, Rows, Service
from kuraban.errors import JournalError
from kuraban.store.outbox import Row

DOUBT: Final = {
    "en": "This may have reached you already.",
    "ja": "すでに届いているかもしれません。",
}
CONNECT_WITHIN, READ_WITHIN = 4.0, 4.0

for _name in ("apprise", "urllib3"):
    logging.getLogger(_name).setLevel(logging.CRITICAL + 1)


@dataclass(frozen=True, slots=True)
class Addresses:
    """Where one person is reached. Notices without an address go to `pages`, without priority."""

    pages: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()


class Sender(Protocol):
    """One address. `send` blocks until it is known what became of it, and does not raise."""

    def send(self, title: str, body: str, urgent: bool) -> str:
        """Empty when the service took the message, else why not, without secrets."""
        ...


class ByApprise:
    """Any service that Apprise knows, with time-outs where `address` sets none."""

    def __init__(self, address: str) -> None:
        if not re.search(r"[?&]cto=", address):
            address = _with(address, f"cto={CONNECT_WITHIN:g}")
        if not re.search(r"[?&]rto=", address):
            address = _with(address, f"rto={READ_WITHIN:g}")
        self._patience = sum(
            float(number) for number in re.findall(r"[?&][cr]to=([\d.]+)", address)
        )
        self._loud, self._quiet = _apprise(address), _apprise(_without_priority(address))

    def send(self, title: str, body: str, urgent: bool) -> str:
        began = time.monotonic()
        service = self._loud if urgent else self._quiet
        if service is None:
            return "not an address that Apprise knows"
        try:
            result = service.notify(
                body=body or title,
                title=title if body else "",
                body_format=NotifyFormat.TEXT,
                notify_type=NotifyType.WARNING if urgent else NotifyType.INFO,
            )
        except Exception as error:
            return f"the service's adapter failed ({type(error).__name__})"
        if result:
            return ""
        if time.monotonic() - began > self._patience / 2 - 0.1:
            return f"no answer within {self._patience:g} s"
        return "the service answered no, or was not reached"


class Courier:
    """Serves every person in `addresses` from `outbox`.

    `report` is called from the courier's threads: with `sent` when a row is done, and without when
    all services of the person failed `tries` times, or there are none; it goes on trying then.
    """

    def __init__(
        self,
        outbox: Rows,
        addresses: Mapping[str, Addresses],
        report: Callable[[Delivered], None],
        clock: Callable[[], float],
        *,
        tries: int = 3,
        sender: Callable[[str], Sender] = ByApprise,
    ) -> None:
        self._outbox = outbox
        self._clock = clock
        self._stopping = Event()
        self._desks: list[Desk] = []
        self._threads = [Thread(target=self._mind, name="courier", daemon=True)]
        for person, where in addresses.items():
            services = _services(person, where)
            pages = tuple(services[address] for address in dict.fromkeys(where.pages))
            notices = tuple(services[address] for address in dict.fromkeys(where.notices))
            desk = Desk(person, outbox, pages, notices or pages, report, tries)
            self._desks.append(desk)
            for address, service in services.items():
                work = (desk, service, sender(address))
                name = f"courier to {service.name}"
                self._threads.append(Thread(target=self._work, args=work, name=name, daemon=True))

    @property
    def alive(self) -> bool:
        """Whether every thread lives."""
        return all(thread.is_alive() for thread in self._threads)

    def start(self) -> None:
        """Rows of unknown fate go out once more, marked. Raises JournalError."""
        self._outbox.recover(self._clock())
        for thread in self._threads:
            thread.start()

    def nudge(self) -> None:
        """New rows are committed."""
        for desk in self._desks:
            with desk.lock:
                desk.lock.notify_all()

    def stop(self, timeout: float) -> None:
        """Finish what is being sent, at most `timeout` seconds; the rest waits in the outbox."""
        self._stopping.set()
        self.nudge()
        deadline = time.monotonic() + timeout
        for thread in self._threads:
            if thread.is_alive():
                thread.join(max(deadline - time.monotonic(), 0.0))
        for desk in self._desks:
            with desk.lock:
                try:
                    desk.give_back(self._clock())
                except JournalError:
                    continue

    def _work(self, desk: Desk, service: Service, sender: Sender) -> None:
        while not self._stopping.is_set():
            with desk.lock:
                row = self._next(desk, service)
            if row is not None:
                reason = _send(sender, row)
                with desk.lock:
                    desk.settle(service, row.id, reason, self._clock())
                    desk.lock.notify_all()

    def _next(self, desk: Desk, service: Service) -> Row | None:
        now = self._clock()
        try:
            row = desk.pick(service, now)
            pause = desk.pause(service, now)
        except JournalError:
            row, pause = None, 5.0
        if row is None and not self._stopping.is_set():
            desk.lock.wait(pause)
        return row

    def _mind(self) -> None:
        """Look each second after what no worker can see: hung services, people without any."""
        while not self._stopping.wait(1.0):
            for desk in self._desks:
                with desk.lock:
                    try:
                        desk.sweep(self._clock())
                    except JournalError:
                        continue


def _send(sender: Sender, row: Row) -> str:
    message = row.message
    body = message.body
    if row.doubtful:
        doubt = DOUBT.get(message.language, DOUBT["en"])
        body = f"{body}\n{doubt}" if body else doubt
    try:
        return sender.send(message.title, body, message.step == "page")
    except Exception as error:
        return f"the service's adapter failed ({type(error).__name__})"


def _services(person: str, where: Addresses) -> dict[str, Service]:
    """By address; one that serves both pages and notices is one service."""
    unique = dict.fromkeys(where.pages + where.notices)
    return {
        address: Service(f"{person}'s {_ordinal(number)} address")
        for number, address in enumerate(unique, 1)
    }


def _ordinal(number: int) -> str:
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{'th' if number % 100 in (11, 12, 13) else ending}"


def _with(address: str, parameter: str) -> str:
    return f"{address}{'&' if '?' in address else '?'}{parameter}"


def _without_priority(address: str) -> str:
    return re.sub(r"(?<=[?&])priority=[^&]*&?", "", address)


def _apprise(address: str) -> Apprise | None:
    asset = AppriseAsset(
        app_id="kuraban",
        app_desc="kuraban",
        async_mode=False,
        storage_mode="memory",
        service_timeout=0,  # Apprise would leave the hung thread behind and start another
    )
    service = Apprise(asset=asset)
    try:
        return service if service.add(address) else None
    except Exception:
        return None
