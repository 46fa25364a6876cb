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
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property
from threading import Event, Thread
from typing import TYPE_CHECKING, Final, Protocol

from kuraban.core.effects import Message
from kuraban.core.facts import Delivered
from kuraban.edges.phones.delivery_state import DeliveryState, Rows, Service
from kuraban.edges.phones.pictures import Picture, Pictures
from kuraban.errors import JournalError
from kuraban.store.outbox import Row

if TYPE_CHECKING:
    from apprise import Apprise
    from apprise.attachment.memory import AttachMemory

DOUBT: Final = {
    "en": "This may have reached you already.",
    "ja": "すでに届いているかもしれません。",
}
CURVE: Final = {"en": "The last hours.", "ja": "これまでの経過です。"}
"""With a picture that was not ready when its text went out."""
FOLLOWS_WITHIN: Final = 300.0
"""Seconds after which a picture tells nothing any more."""
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

    def send(self, title: str, body: str, urgent: bool, picture: bytes | None = None) -> str:
        """Empty when the service took the message, else why not, without secrets.

        `picture` is a PNG, given only where `shows` is true.
        """
        ...

    @property
    def shows(self) -> bool:
        """Whether the service takes pictures."""
        ...


class ByApprise:
    """Any service that Apprise knows, with time-outs where `address` sets none.

    Apprise and all its services, 20 MB of them, are read at the first message.
    """

    def __init__(self, address: str) -> None:
        if not re.search(r"[?&]cto=", address):
            address = _with(address, f"cto={CONNECT_WITHIN:g}")
        if not re.search(r"[?&]rto=", address):
            address = _with(address, f"rto={READ_WITHIN:g}")
        self._patience = sum(
            float(number) for number in re.findall(r"[?&][cr]to=([\d.]+)", address)
        )
        self._address = address

    @cached_property
    def _loud(self) -> Apprise | None:
        return _apprise(self._address)

    @cached_property
    def _quiet(self) -> Apprise | None:
        return _apprise(_without_priority(self._address))

    @property
    def shows(self) -> bool:
        service = self._loud
        return service is not None and any(one.attachment_support for one in service)

    def send(self, title: str, body: str, urgent: bool, picture: bytes | None = None) -> str:
        began = time.monotonic()
        service = self._loud if urgent else self._quiet
        if service is None:
            return "not an address that Apprise knows"
        from apprise import NotifyFormat, NotifyType

        try:
            result = service.notify(
                body=body or title,
                title=title if body else "",
                body_format=NotifyFormat.TEXT,
                notify_type=NotifyType.WARNING if urgent else NotifyType.INFO,
                attach=None if picture is None else _attachment(picture),
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
    `further` gives lines that are added to a message as it leaves, such as links to answer it.
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
        further: Callable[[Message], str] = lambda message: "",
        pictures: Pictures | None = None,
    ) -> None:
        self._outbox = outbox
        self._further, self._pictures = further, pictures
        self._clock = clock
        self._stopping = Event()
        self._delivery_states: list[DeliveryState] = []
        self._threads = [Thread(target=self._mind, name="courier", daemon=True)]
        for person, where in addresses.items():
            services = _services(person, where)
            pages = tuple(services[address] for address in dict.fromkeys(where.pages))
            notices = tuple(services[address] for address in dict.fromkeys(where.notices))
            delivery_state = DeliveryState(person, outbox, pages, notices or pages, report, tries)
            self._delivery_states.append(delivery_state)
            for address, service in services.items():
                work = (delivery_state, service, sender(address))
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
        for delivery_state in self._delivery_states:
            with delivery_state.lock:
                delivery_state.lock.notify_all()

    def stop(self, timeout: float) -> None:
        """Finish what is being sent, at most `timeout` seconds; the rest waits in the outbox."""
        self._stopping.set()
        self.nudge()
        deadline = time.monotonic() + timeout
        for thread in self._threads:
            if thread.is_alive():
                thread.join(max(deadline - time.monotonic(), 0.0))
        for delivery_state in self._delivery_states:
            with delivery_state.lock:
                try:
                    delivery_state.give_back(self._clock())
                except JournalError:
                    continue

    def _work(self, delivery_state: DeliveryState, service: Service, sender: Sender) -> None:
        late: list[_Late] = []
        while not self._stopping.is_set():
            with delivery_state.lock:
                row = self._next(delivery_state, service, late)
            if row is not None:
                reason, picture = self._send(sender, row)
                with delivery_state.lock:
                    delivery_state.settle(service, row.id, reason, self._clock())
                    delivery_state.lock.notify_all()
                if picture is not None and not reason:
                    late.append(_Late(row.message, picture, time.monotonic()))
                    picture.add_done_callback(lambda _: self.nudge())
            else:
                late = [one for one in late if not self._follow(sender, one)]

    def _send(self, sender: Sender, row: Row) -> tuple[str, Picture | None]:
        """Why it was not taken, and the picture that is still to follow.

        Only the first try carries a picture, so that none can keep a text from arriving.
        """
        picture, png = self._picture(sender, row), None
        try:
            if picture is not None and self._pictures is not None:
                png = self._pictures.wait(picture)
            reason = _send(sender, row, self._further, png)
        except Exception as error:
            reason = f"the service's adapter failed ({type(error).__name__})"
        return reason, picture if png is None else None

    def _picture(self, sender: Sender, row: Row) -> Picture | None:
        if self._pictures is None or row.tries > 1 or row.doubtful or not sender.shows:
            return None
        return self._pictures.of(row.message)

    def _follow(self, sender: Sender, late: _Late) -> bool:
        """Send a picture after its text, once and soundlessly; whether that is over and done."""
        if not late.picture.done():
            return time.monotonic() - late.since > FOLLOWS_WITHIN
        png, message = late.picture.result(), late.message
        if png is not None:
            body = CURVE.get(message.language, CURVE["en"])
            with suppress(Exception):
                sender.send(message.title, body, False, png)
        return True

    def _next(
        self, delivery_state: DeliveryState, service: Service, late: list[_Late]
    ) -> Row | None:
        now = self._clock()
        try:
            row = delivery_state.pick(service, now)
            pause = delivery_state.pause(service, now)
        except JournalError:
            row, pause = None, 5.0
        ready = any(one.picture.done() for one in late)
        if row is None and not ready and not self._stopping.is_set():
            delivery_state.lock.wait(pause)
        return row

    def _mind(self) -> None:
        """Look each second after what no worker can see: hung services, people without any."""
        while not self._stopping.wait(1.0):
            for delivery_state in self._delivery_states:
                with delivery_state.lock:
                    try:
                        delivery_state.sweep(self._clock())
                    except JournalError:
                        continue


@dataclass(frozen=True, slots=True)
class _Late:
    """A picture that was not ready when its text went out."""

    message: Message
    picture: Picture
    since: float


def _send(
    sender: Sender, row: Row, further: Callable[[Message], str], picture: bytes | None
) -> str:
    message = row.message
    doubt = DOUBT.get(message.language, DOUBT["en"]) if row.doubtful else ""
    more = ""
    with suppress(Exception):  # a message without its links is better than none
        more = further(message)
    body = "\n".join(filter(None, (message.body, more, doubt)))
    if picture is None:
        return sender.send(message.title, body, message.step == "page")
    return sender.send(message.title, body, message.step == "page", picture)


def _attachment(picture: bytes) -> AttachMemory:
    from apprise.attachment.memory import AttachMemory

    return AttachMemory(  # type: ignore[no-untyped-call]
        content=picture, name="curve.png", mimetype="image/png"
    )


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
    from apprise import Apprise, AppriseAsset

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
