"""Connections as they come: each is counted from its first moment, and none stays for nothing.

Whoever is connected and has no whole request at work is *waiting*. Where there is no place left,
whoever has waited longest goes. So somebody who comes to answer an alarm always finds a place, and
keeps it for as long as a request takes to arrive, however many silent, half-sent, slow or idle
connections there are. How many requests may be at work is decided in `crowd`.

uvicorn counts what has been answered by 503 and waits for ever for the head of a request, and
asyncio waits a minute for a TLS handshake that it counts nowhere: so they are accepted here.
"""

from __future__ import annotations

import asyncio
import socket
import ssl
from collections.abc import Callable, Collection
from contextlib import suppress
from typing import Any

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from kuraban.edges.web.security.addresses import in_house, network

MOST, OURS = 256, 64
"""Connections in all, and how many of them are the house's own network's if it wants them."""
OF_ONE = 48
"""Of one address outside the house: some phones behind the same one, each with its open pages."""
HEAD_WITHIN = 10.0
"""Seconds for a handshake, and for the head of the first request."""
IDLE = 20.0
"""Seconds for the next one over the same connection."""
READ_WITHIN = 60.0
"""Seconds in which the other side must read some of what was sent."""
LOOKS = 1.0


class Caller:
    """One connection and since when it waits; `ours` where the house's own network calls."""

    def __init__(self, address: str, ours: bool, since: float) -> None:
        self.network, self.ours, self.since = network(address), ours, since
        self.limit = HEAD_WITHIN
        self.arriving: asyncio.Task[None] | None = None
        self.connection: Connection | None = None

    @property
    def at_work(self) -> bool:
        return self.connection is not None and self.connection.at_work

    def overdue(self, now: float) -> bool:
        """Whether it has waited, or let us wait, for longer than it may."""
        connection = self.connection
        if connection is not None and connection.unread_since is not None:
            return now - connection.unread_since > READ_WITHIN
        unread = connection is not None and connection.transport.get_write_buffer_size() > 0
        return not self.at_work and now - self.since > (READ_WITHIN if unread else self.limit)

    def dismiss(self) -> None:
        if self.connection is not None:
            self.connection.transport.abort()
        elif self.arriving is not None:
            self.arriving.cancel()


class Connection(H11Protocol):
    """uvicorn's, of a caller; it tells whether a request is at work, and whether all was read."""

    def __init__(self, caller: Caller, lost: Callable[[Caller], None], *given: Any) -> None:
        super().__init__(*given)
        self._caller, self._lost = caller, lost
        self.unread_since: float | None = None

    @property
    def at_work(self) -> bool:
        return self.cycle is not None and not self.cycle.response_complete

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._caller.connection = self
        self._caller.since = self.loop.time()

    def connection_lost(self, exc: Exception | None) -> None:
        super().connection_lost(exc)
        self._lost(self._caller)

    def on_response_complete(self) -> None:
        self._caller.since, self._caller.limit = self.loop.time(), IDLE
        super().on_response_complete()

    def pause_writing(self) -> None:
        super().pause_writing()
        self.unread_since = self.loop.time()

    def resume_writing(self) -> None:
        super().resume_writing()
        self.unread_since = None


class Server(uvicorn.Server):
    """uvicorn's, at a listening socket. `proxies` speak for many, and count as the house."""

    def __init__(
        self, config: uvicorn.Config, taken: socket.socket, proxies: Collection[str]
    ) -> None:
        super().__init__(config)
        self._taken, self._proxies = taken, proxies
        self._callers: set[Caller] = set()
        self._running: list[asyncio.Task[None]] = []

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup([])
        self._running = [asyncio.create_task(self._accept()), asyncio.create_task(self._look())]

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        for task in self._running:
            task.cancel()
        await super().shutdown()

    async def _accept(self) -> None:
        loop = asyncio.get_running_loop()
        while True:
            try:
                taken, (address, *_) = await loop.sock_accept(self._taken)
            except OSError:  # no more files, or whoever called has gone
                await asyncio.sleep(LOOKS)
                continue
            ours = in_house(address) or address in self._proxies
            caller = Caller(address, ours, loop.time())
            if self._place_for(caller):
                self._callers.add(caller)
                caller.arriving = loop.create_task(self._receive(caller, taken))
            else:
                taken.close()
            await asyncio.sleep(0)  # others have their turn in a flood

    async def _receive(self, caller: Caller, taken: socket.socket) -> None:
        def connection() -> Connection:
            return Connection(
                caller, self._callers.discard, self.config, self.server_state, {}, loop
            )

        loop, tls = asyncio.get_running_loop(), self.config.ssl
        try:
            await loop.connect_accepted_socket(
                connection, taken, ssl=tls,
                ssl_handshake_timeout=HEAD_WITHIN if isinstance(tls, ssl.SSLContext) else None,
            )  # fmt: skip
        except OSError:  # no handshake came of it
            taken.close()
        finally:
            if caller.connection is None:
                self._callers.discard(caller)

    async def _look(self) -> None:
        """Whoever has waited too long goes."""
        while True:
            await asyncio.sleep(LOOKS)
            now = asyncio.get_running_loop().time()
            for caller in [one for one in self._callers if one.overdue(now)]:
                self._dismiss(caller)

    def _place_for(self, caller: Caller) -> bool:
        """Whether there is a place, if need be that of whoever has waited longest on the side, the
        house's or the strangers', that has more than its share."""
        same = [one for one in self._callers if one.network == caller.network]
        if not caller.ours and len(same) >= OF_ONE and not self._made_place(same):
            return False
        if len(self._callers) < MOST:
            return True
        beyond = sum(not one.ours for one in self._callers) - (MOST - OURS)
        side = caller.ours if beyond == 0 else beyond < 0
        return self._made_place([one for one in self._callers if one.ours == side])

    def _made_place(self, among: Collection[Caller]) -> bool:
        waiting = [one for one in among if not one.at_work]
        if waiting:
            self._dismiss(min(waiting, key=lambda one: one.since))
        return bool(waiting)

    def _dismiss(self, caller: Caller) -> None:
        self._callers.discard(caller)
        with suppress(RuntimeError):
            caller.dismiss()
