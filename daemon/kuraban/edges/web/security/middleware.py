"""What stands before every page: size, host and origin of a request, and the headers of an answer.

No page runs or loads anything that the watch did not serve, stands in nobody's frame, and is kept
by no cache. A body of more than 64 kB is refused before anything reads it, and so is one that comes
too slowly. A request that changes something must come from our own pages: whatever a browser says
of its origin must be our host.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any
from urllib.parse import urlsplit

from kuraban.edges.web.security.crowd import Crowd

LARGEST = 64 * 1024
BODY_WITHIN = 20.0
"""Seconds; of a form from a phone at the edge of the Wi-Fi come some hundred bytes."""
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)
HSTS = (b"strict-transport-security", b"max-age=31536000")
TOO_LARGE = 413, "that is too large; at most 64 kB\n大きすぎます。64 kB までです"
TOO_SLOW = 408, "that did not come whole in time; try again\n途中で切れました。もう一度どうぞ"
TOO_MANY = 503, "too many at once; try again in a moment\n混み合っています。少ししてからどうぞ"
NOT_OUR_NAME = (
    421,
    (
        "the pages do not go by that name; use the address in the site file\n"
        "その名前では開けません。設定ファイルにあるアドレスで開いてください"
    ),
)
FROM_ELSEWHERE = (
    403,
    (
        "that came from another site; open the page itself and try again\n"
        "別のサイトから送られました。このページを開き直して、もう一度どうぞ"
    ),
)
"""Before anybody's language is known, so in both."""
AT_HOME = frozenset({"localhost", "127.0.0.1", "::1"})

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]


class Guard:
    """An ASGI application around another. `hosts` are the names we go by, None for any."""

    def __init__(
        self, app: App, hosts: frozenset[str] | None, encrypted: bool, crowd: Crowd
    ) -> None:
        self._app, self._crowd = app, crowd
        self._hosts = hosts
        self._headers = HEADERS + ((HSTS,) if encrypted else ())

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        dressed = self._dressed(send)
        with self._crowd.place(scope) as place:
            refusal = self._refusal(scope) if place else TOO_MANY
            if refusal is None and scope["method"] not in SAFE:
                body = await _whole(receive)
                if isinstance(body, bytes):
                    receive = _again(body, receive)
                else:
                    refusal = body
            if refusal is not None:
                await _say(dressed, *refusal)
                return
            await self._app(scope, receive, dressed)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = dict(reversed(scope["headers"]))
        host = headers.get(b"host", b"").decode("latin-1")
        if self._hosts is not None and _name(host) not in self._hosts:
            return NOT_OUR_NAME
        size = headers.get(b"content-length", b"0")
        if not size.isdigit() or len(size) > 15 or int(size) > LARGEST:
            return TOO_LARGE
        if scope["method"] not in SAFE and not _from_here(headers, host):
            return FROM_ELSEWHERE
        return None

    def _dressed(self, send: Send) -> Send:
        async def dressed(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                held = {name.lower() for name, _ in message.get("headers", ())}
                more = [(name, value) for name, value in self._headers if name not in held]
                message["headers"] = [*message.get("headers", ()), *more]
            await send(message)

        return dressed


def _name(host: str) -> str:
    """The name in a Host header, without its port."""
    try:
        return (urlsplit(f"//{host}").hostname or "").lower()
    except ValueError:
        return ""


def _from_here(headers: dict[bytes, bytes], host: str) -> bool:
    """What a browser says of where the request began; a program says nothing of it."""
    if headers.get(b"sec-fetch-site", b"same-origin") not in (b"same-origin", b"none"):
        return False
    origin = headers.get(b"origin")
    try:
        return origin is None or urlsplit(origin.decode("latin-1")).netloc.lower() == host.lower()
    except ValueError:
        return False


async def _whole(receive: Receive) -> bytes | tuple[int, str]:
    """The whole body, or why it is refused."""
    body = b""
    try:
        async with asyncio.timeout(BODY_WITHIN):
            while True:
                message = await receive()
                body += bytes(message.get("body", b""))
                if len(body) > LARGEST:
                    return TOO_LARGE
                if message["type"] != "http.request" or not message.get("more_body"):
                    return body
    except TimeoutError:
        return TOO_SLOW


def _again(body: bytes, receive: Receive) -> Receive:
    told = False

    async def again() -> MutableMapping[str, Any]:
        nonlocal told
        if told:
            return await receive()
        told = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again


async def _say(send: Send, status: int, words: str) -> None:
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": words.encode()})
