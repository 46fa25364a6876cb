"""The pages in a thread of their own, beside whatever hangs the pictures.

The address is taken before the thread starts, so that whoever starts the pages hears at once that
somebody else has it.
"""

from __future__ import annotations

import asyncio
import logging
import socket
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Protocol
from urllib.parse import urlsplit

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from kuraban.core.facts import Logged
from kuraban.core.site import House
from kuraban.core.texts.messages import Words
from kuraban.core.views.batch_sheet import Archive
from kuraban.edges.signing import Signer
from kuraban.edges.web.app import make_app
from kuraban.edges.web.drawing.recent_curves import RecentCurves
from kuraban.edges.web.live.snapshot_hub import SnapshotHub
from kuraban.edges.web.page_context import Asked, Clocked, PageContext, Tools
from kuraban.edges.web.security.accounts import Account, Accounts
from kuraban.edges.web.security.connections import IDLE, Server
from kuraban.edges.web.security.crowd import Crowd
from kuraban.edges.web.security.feed_marks import FILE as CALENDARS
from kuraban.edges.web.security.feed_marks import FeedMarks
from kuraban.edges.web.security.middleware import AT_HOME, App, Guard
from kuraban.edges.web.security.signed_out import FILE, SignedOut
from kuraban.errors import MachineError

STOPS_WITHIN = 2.0

log = logging.getLogger("kuraban")


class Where(Protocol):
    """Where the pages listen and who may use them; files are absolute paths."""

    @property
    def host(self) -> str: ...
    @property
    def port(self) -> int: ...
    @property
    def public(self) -> str | None: ...
    @property
    def cert_file(self) -> Path | None: ...
    @property
    def key_file(self) -> Path | None: ...
    @property
    def proxy(self) -> tuple[str, ...]: ...
    @property
    def accounts(self) -> Sequence[Account]: ...


class Pages:
    """The pages of one house. `key` signs what they hand out; `submit` is safe in any thread.

    `start` raises MachineError where the address cannot be had.
    """

    def __init__(
        self,
        house: House,
        where: Where,
        key: str,
        words: Words,
        hub: SnapshotHub,
        history: Path,
        submit: Callable[[Logged], None],
        clock: Callable[[], float],
        tools: Tools,
        archive: Archive | None = None,
        asked: Asked | None = None,
    ) -> None:
        self.hub = hub
        self._where = where
        public = urlsplit(where.public or "")
        self._encrypted = where.cert_file is not None or public.scheme == "https"
        context = PageContext(
            clocked=Clocked(house),
            words=words,
            hub=hub,
            history=history,
            submit=submit,
            clock=clock,
            signer=Signer(key),
            accounts=Accounts(where.accounts, clock),
            tools=tools,
            signed_out=SignedOut(history.with_name(FILE), clock()),
            feeds=FeedMarks(history.with_name(CALENDARS)),
            recent=RecentCurves(history),
            encrypted=self._encrypted,
            archive=archive,
            asked=asked,
        )
        hosts = None if where.accounts else AT_HOME | {where.host, public.hostname or where.host}
        crowd = Crowd(lambda token: context.signer.read_link(token) is not None)
        self.app: App = Guard(make_app(context), hosts, where.cert_file is not None, crowd)
        self._server: Server | None = None
        self._thread: threading.Thread | None = None

    @property
    def alive(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def start(self) -> int:
        """Listen; the port that was taken."""
        taken = self._take()
        config = uvicorn.Config(
            self.app,
            log_config=None,
            log_level="error",
            http=H11Protocol,
            access_log=False,
            server_header=False,
            ws="none",
            lifespan="off",
            proxy_headers=bool(self._where.proxy),
            forwarded_allow_ips=list(self._where.proxy),
            ssl_certfile=self._where.cert_file,
            ssl_keyfile=str(self._where.key_file) if self._where.key_file else None,
            timeout_keep_alive=int(IDLE),
            timeout_graceful_shutdown=1,
        )
        try:
            config.load()
        except (OSError, ValueError) as error:
            taken.close()
            raise MachineError(f"pages: {self._where.cert_file}: {error}") from error
        self._server = Server(config, taken, self._where.proxy)
        self._thread = threading.Thread(
            target=self._serve, args=(taken,), name="pages", daemon=True
        )
        self._thread.start()
        return int(taken.getsockname()[1])

    def stop(self, within: float = STOPS_WITHIN) -> None:
        """End every connection, and the thread."""
        if self._server is None or self._thread is None:
            return
        self._server.should_exit = True
        self.hub.close()
        self._thread.join(within)

    def _take(self) -> socket.socket:
        where = self._where
        family = socket.AF_INET6 if ":" in where.host else socket.AF_INET
        # With the protocol named, asyncio turns off the delay that would cost each page 40 ms.
        taken = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            taken.bind((where.host, where.port))
            taken.listen(128)
        except OSError as error:
            taken.close()
            wrong = error.strerror or str(error)
            raise MachineError(
                f"pages: cannot listen at {where.host}:{where.port}: {wrong}"
            ) from error
        taken.setblocking(False)
        return taken

    def _serve(self, taken: socket.socket) -> None:
        assert self._server is not None
        try:
            asyncio.run(self._served(self._server))
        except Exception:
            log.exception("pages: a fault of ours, please report it")
        finally:
            taken.close()

    async def _served(self, server: Server) -> None:
        self.hub.open(asyncio.get_running_loop())
        await server.serve()
