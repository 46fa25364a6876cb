"""A phone service on loopback: records what arrives, and misbehaves in the ways that services do.

It is strict: anything but a well-formed JSON or form notification with title and message is
answered 400 and kept in `wrong`, so that a test that delivers nonsense fails.
"""

from __future__ import annotations

import json
import threading
import time
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from typing import Any, Literal, Self
from urllib.parse import parse_qs

from kuraban.edges.phones.courier import CURVE

Mode = Literal["ok", "500", "hang", "refuse", "slow"]


@dataclass(frozen=True, slots=True)
class Rung:
    """One notification that the service took."""

    path: str
    title: str
    body: str
    kind: str
    at: float


class Sink:
    """`mode`: ok; 500 answers an error; hang never answers; slow answers after `lag` seconds;
    refuse has nobody listening. It may be changed at any time."""

    def __init__(self, mode: Mode = "ok", *, lag: float = 0.5) -> None:
        self.lag = lag
        self.got: list[Rung] = []
        self.tried: list[str] = []
        self.attached: list[list[dict[str, Any]]] = []
        self.wrong: list[str] = []
        self._changed = threading.Condition()
        self._closing = threading.Event()
        self._server: ThreadingHTTPServer | None = None
        self._open()
        self.port = self._server.server_address[1] if self._server else 0
        self._mode: Mode = "ok"
        self.mode = mode

    def url(self, person: str, query: str = "") -> str:
        """The Apprise address of `person` at this service."""
        return f"json://127.0.0.1:{self.port}/{person}{'?' + query if query else ''}"

    @property
    def mode(self) -> Mode:
        return self._mode

    @mode.setter
    def mode(self, mode: Mode) -> None:
        self._mode = mode
        if mode == "refuse":
            self._shut()
        elif self._server is None:
            self._open()

    @property
    def titles(self) -> list[str]:
        return [rung.title for rung in self.told]

    @property
    def told(self) -> list[Rung]:
        """What was taken, but for pictures: one that is late follows its text, with its title."""
        with self._changed:
            return [rung for rung in self.got if rung.body not in CURVE.values()]

    def await_count(self, count: int, within: float = 10.0) -> list[Rung]:
        """What has been taken, once that is `count` or `within` seconds have gone by."""
        with self._changed:
            self._changed.wait_for(lambda: len(self.told) >= count, within)
            return self.told

    def close(self) -> None:
        self._closing.set()
        self._shut()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _open(self) -> None:
        server = _Server(("127.0.0.1", getattr(self, "port", 0)), _Handler)
        server.sink = self
        self._server = server
        threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()

    def _shut(self) -> None:
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None

    def take(self, path: str, raw: bytes) -> int:
        """The status to answer `raw` with."""
        self.tried.append(path)
        if self._mode == "500":
            return 500
        if self._mode == "hang":
            self._closing.wait(120)
            return 503
        if self._mode == "slow":
            time.sleep(self.lag)
        try:
            said: dict[str, Any] = json.loads(raw) if raw[:1] == b"{" else _form(raw)
            rung = Rung(path, said["title"], said["message"], said["type"], time.time())
        except (ValueError, KeyError, TypeError) as error:
            self.wrong.append(repr(error))
            return 400
        with self._changed:
            self.got.append(rung)
            if said.get("attachments"):
                self.attached.append(said["attachments"])
            self._changed.notify_all()
        return 200


def _form(raw: bytes) -> dict[str, Any]:
    """The fields of a web form; ValueError for anything else."""
    fields = parse_qs(raw.decode(), strict_parsing=True)
    return {name: values[0] for name, values in fields.items()}


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False
    allow_reuse_address = True
    sink: Sink


class _Handler(BaseHTTPRequestHandler):
    server: _Server

    def do_POST(self) -> None:
        raw = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        status = self.server.sink.take(self.path, raw)
        try:
            self.send_response(status)
            self.send_header("Content-Length", "0")
            self.end_headers()
        except OSError:
            return

    def log_message(self, format: str, *args: Any) -> None:
        return
