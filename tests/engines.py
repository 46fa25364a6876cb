"""Engines for the long history: Victoria Metrics as it is, and one on loopback that is strict.

The real one keeps numbers, and neither texts nor complaints: it stores a string as 0 and takes what
is no line protocol for success. What concerns those two is tried on the strict one.
"""

from __future__ import annotations

import json
import re
import signal
import ssl
import subprocess
import threading
import time
import urllib.request
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple, Self
from urllib.parse import parse_qs, urlsplit

from tests.broker import await_up, free_port


class VictoriaMetrics:
    """Debian's server on a free port of `host`, its data in `folder`."""

    def __init__(self, folder: Path, host: str = "127.0.0.1") -> None:
        self.port, self._host = free_port(), host
        self.url = f"http://{host}:{self.port}"
        self._folder = folder
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        command = [
            "victoria-metrics", f"-httpListenAddr={self._host}:{self.port}",
            f"-storageDataPath={self._folder / 'victoria'}", "-retentionPeriod=100y",
            "-dedup.minScrapeInterval=1ms", "-loggerLevel=ERROR",
        ]  # fmt: skip
        said = self._folder / "victoria.log"
        with said.open("ab") as log:
            self._process = subprocess.Popen(command, stdout=log, stderr=log)
        await_up(self._process, self.port, said, self._host)

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def stop(self) -> None:
        if self._process is not None:
            self._process.send_signal(signal.SIGTERM)
            self._process.wait(20)
            self._process = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    def series(self, name: str) -> list[tuple[dict[str, str], list[float], list[int]]]:
        """Labels, values and milliseconds of every series of a name, as the server exports them."""
        self._ask("/internal/force_flush")
        text = self._ask(f'/api/v1/export?match[]={{__name__="{name}"}}')
        rows = [json.loads(line) for line in text.splitlines()]
        return [(row["metric"], row["values"], row["timestamps"]) for row in rows]

    def count(self, name: str) -> int:
        return sum(len(values) for _, values, _ in self.series(name))

    def _ask(self, path: str) -> str:
        with urllib.request.urlopen(self.url + path.replace("{", "%7B").replace("}", "%7D")
                                    .replace('"', "%22"), timeout=20) as answer:  # fmt: skip
            return str(answer.read().decode())


class Point(NamedTuple):
    measurement: str
    tags: tuple[tuple[str, str], ...]
    fields: dict[str, float | str]
    time: int

    def tag(self, name: str) -> str | None:
        return dict(self.tags).get(name)


class Malformed(Exception):
    """What is no line protocol, or would be two things to two engines."""


_NAME = r"((?:[^,= \\\"\n]|\\[,= ])+)"
_FIELD = re.compile(_NAME + r'=(?:(-?\d+(?:\.\d+)?(?:e[+-]?\d+)?)|"((?:[^"\\]|\\["\\])*)")')
_TAG = re.compile("," + _NAME + "=" + _NAME.replace(r"\"", ""))


def parse(line: str) -> Point:
    """A point of ours: tags in order, floats and strings alone, a time in nanoseconds."""
    head = re.compile(r"[a-z]+").match(line)
    if head is None or not line.isprintable():
        raise Malformed(f"no measurement: {line!r}")
    at, tags = head.end(), []
    while tag := _TAG.match(line, at):
        tags.append((_plain(tag[1]), _plain(tag[2])))
        at = tag.end()
    if line[at : at + 1] != " " or tags != sorted(set(tags)):
        raise Malformed(f"tags: {line!r}")
    fields, at = _fields(line, at + 1)
    if {name for name, _ in tags} & set(fields) or len(dict(tags)) != len(tags):
        raise Malformed(f"one name twice: {line!r}")
    if not re.fullmatch(r" \d{19}", line[at:]):
        raise Malformed(f"time: {line!r}")
    return Point(head[0], tuple(tags), fields, int(line[at:]))


def _fields(line: str, at: int) -> tuple[dict[str, float | str], int]:
    fields: dict[str, float | str] = {}
    while field := _FIELD.match(line, at):
        name = _plain(field[1])
        if name in fields:
            raise Malformed(f"one name twice: {line!r}")
        text = field[3]
        fields[name] = float(field[2]) if text is None else re.sub(r"\\(.)", r"\1", text)
        at = field.end()
        if line[at : at + 1] != ",":
            return fields, at
        at += 1
    raise Malformed(f"fields: {line!r}")


def _plain(text: str) -> str:
    return re.sub(r"\\(.)", r"\1", text)


class Strict:
    """It takes a write as a whole or not at all, and can be told to misbehave.

    `refuses` says of a line whether it is answered 400; `status` is answered to everything instead;
    `mode` "hang" never answers, "drop" takes the points and closes without an answer. With `tls`
    it speaks TLS. `answers` is what a query is answered; without it there are none.
    """

    def __init__(self, token: str | None = None, tls: ssl.SSLContext | None = None) -> None:
        self.points: dict[tuple[str, tuple[tuple[str, str], ...], int], Point] = {}
        self.malformed: list[str] = []
        self.writes: list[int] = []
        self.asked: list[dict[str, list[str]]] = []
        self.times: list[float] = []
        self.refuses: Callable[[str], bool] = lambda line: False
        self.status: int | None = None
        self.headers: dict[str, str] = {}
        self.body = b""
        self.mode = "ok"
        self.answers: bytes | None = None
        self.bodies: list[bytes] = []
        self._token = token
        self._kinds: dict[tuple[str, str], type] = {}
        self._closing = threading.Event()
        self._server = _Server(("127.0.0.1", 0), _Handler)
        self._server.strict = self
        if tls is not None:
            self._server.socket = tls.wrap_socket(self._server.socket, server_side=True)
        scheme = "http" if tls is None else "https"
        self.url = f"{scheme}://127.0.0.1:{self._server.server_address[1]}"
        threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True).start()

    def close(self) -> None:
        self._closing.set()
        self._server.shutdown()
        self._server.server_close()

    def of(self, measurement: str) -> list[Point]:
        found = list(self.points.values())  # others are being taken meanwhile
        return [point for point in found if point.measurement == measurement]

    def take(self, where: str, said: str, body: bytes) -> tuple[int, bytes]:
        """The status and body to answer with; 0 for none."""
        self.times.append(time.monotonic())
        self.asked.append(parse_qs(urlsplit(where).query))
        if self.mode == "hang":
            self._closing.wait(60)
            return 0, b""
        if self.status is not None:
            return self.status, self.body
        if self._token is not None and said != f"Token {self._token}":
            return 401, json.dumps({"message": f"unauthorized: {said}"}).encode()
        if urlsplit(where).path == "/api/v2/query" and self.answers is not None:
            self.bodies.append(body)
            return 200, self.answers
        if urlsplit(where).path != "/api/v2/write":
            return 404, b""
        return self._write(body)

    def _write(self, body: bytes) -> tuple[int, bytes]:
        lines = body.decode().split("\n")
        bad = next((line for line in lines if self.refuses(line)), None)
        if bad is not None:
            return 400, self.body or json.dumps({"message": f"cannot take {bad}"}).encode()
        try:
            points = [parse(line) for line in lines]
            self._of_one_kind(points)
        except Malformed as wrong:
            self.malformed.append(str(wrong))
            return 400, json.dumps({"message": str(wrong)}).encode()
        self.points |= {(p.measurement, p.tags, p.time): p for p in points}
        self.writes.append(len(points))
        return (0 if self.mode == "drop" else 204), b""

    def _of_one_kind(self, points: list[Point]) -> None:
        for point in points:
            for name, value in point.fields.items():
                kind = self._kinds.setdefault((point.measurement, name), type(value))
                if kind is not type(value):
                    raise Malformed(f"{name} of {point.measurement} was {kind.__name__} before")


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False
    strict: Strict


class _Handler(BaseHTTPRequestHandler):
    server: _Server
    protocol_version = "HTTP/1.1"

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        strict = self.server.strict
        status, answer = strict.take(self.path, self.headers.get("Authorization", ""), body)
        if not status:
            self.close_connection = True
            return
        self.send_response(status)
        for name, value in strict.headers.items():
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(answer)))
        self.end_headers()
        self.wfile.write(answer)

    def log_message(self, format: str, *args: Any) -> None:
        return
