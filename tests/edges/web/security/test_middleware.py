"""What stands before every page."""

from __future__ import annotations

import asyncio
from collections.abc import MutableMapping
from typing import Any

import pytest

from kuraban.edges.web.security import middleware
from kuraban.edges.web.security.crowd import Crowd
from kuraban.edges.web.security.middleware import LARGEST, Guard, Receive, Scope, Send

HOME = frozenset({"localhost", "127.0.0.1"})
Told = tuple[int, dict[str, str], bytes]


async def echo(scope: Scope, receive: Receive, send: Send) -> None:
    """Answers with the body that it was sent."""
    body = (await receive()).get("body", b"")
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": body})


def guarding(hosts: frozenset[str] | None = HOME, encrypted: bool = False) -> Guard:
    return Guard(echo, hosts, encrypted, Crowd(lambda token: False))


def ask(
    method: str = "GET", parts: tuple[bytes, ...] = (b"",), guard: Guard | None = None,
    **headers: str,
) -> Told:  # fmt: skip
    headers = {"host": "127.0.0.1:8080", **headers}
    raw = [(name.replace("_", "-").encode(), text.encode()) for name, text in headers.items()]
    scope: Scope = {"type": "http", "method": method, "path": "/", "headers": raw}
    waiting = list(parts)
    told: list[MutableMapping[str, Any]] = []

    async def receive() -> MutableMapping[str, Any]:
        body = waiting.pop(0)
        return {"type": "http.request", "body": body, "more_body": bool(waiting)}

    async def send(message: MutableMapping[str, Any]) -> None:
        told.append(message)

    asyncio.run((guard or guarding())(scope, receive, send))
    held = {name.decode(): text.decode() for name, text in told[0]["headers"]}
    return told[0]["status"], held, told[1]["body"]


def test_every_answer_forbids_what_the_watch_did_not_serve() -> None:
    """No foreign script, no frame, no guessing of types, no copy in a cache."""
    _, headers, _ = ask()
    assert "default-src 'none'" in headers["content-security-policy"]
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"] == "no-store"
    assert "strict-transport-security" not in headers


def test_refusals_carry_the_same_headers() -> None:
    """Nothing goes out undressed."""
    _, headers, _ = ask(host="elsewhere.example")
    assert "content-security-policy" in headers


def test_under_tls_the_browser_is_told_to_stay_there() -> None:
    """RFC 6797."""
    _, headers, _ = ask(guard=guarding(HOME, True))
    assert headers["strict-transport-security"].startswith("max-age=")


def test_a_body_comes_through_whole() -> None:
    """Also one in parts, up to 64 kB."""
    status, _, body = ask("POST", (b"a" * 1000, b"b" * 1000))
    assert (status, len(body)) == (200, 2000)
    assert ask("POST", (b"a" * LARGEST,))[0] == 200


@pytest.mark.parametrize("parts", [(b"a" * (LARGEST + 1),), tuple(b"a" * 1000 for _ in range(70))])
def test_an_oversized_body_is_refused(parts: tuple[bytes, ...]) -> None:
    """Whatever it says of its own size, and however it comes."""
    assert ask("POST", parts)[0] == 413
    assert ask("POST", content_length=str(LARGEST + 1))[0] == 413
    assert ask("POST", content_length="-5")[0] == 413
    assert ask("POST", content_length="9" * 400)[0] == 413


def test_a_body_that_comes_too_slowly_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """And its connection ends with that."""
    monkeypatch.setattr(middleware, "BODY_WITHIN", 0.05)
    told: list[MutableMapping[str, Any]] = []

    async def never() -> MutableMapping[str, Any]:
        await asyncio.sleep(5)
        return {"type": "http.request", "body": b"", "more_body": True}

    async def send(message: MutableMapping[str, Any]) -> None:
        told.append(message)

    scope = {"type": "http", "method": "POST", "path": "/", "headers": [(b"host", b"localhost")]}
    asyncio.run(guarding()(scope, never, send))
    assert told[0]["status"] == 408 and (b"connection", b"close") in told[0]["headers"]


@pytest.mark.parametrize(
    "host", ["elsewhere.example", "127.0.0.1.elsewhere.example", "", "[", "a@b"]
)
def test_another_name_is_not_ours(host: str) -> None:
    """A site that gave its own name our address must not reach the pages through a browser here."""
    assert ask(host=host)[0] == 421


def test_with_accounts_any_name_will_do() -> None:
    """Which names lead here only the house knows; the password guards."""
    assert ask(guard=guarding(None, True), host="kura.example")[0] == 200


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": "http://127.0.0.1:8080"}, 200),
        ({"origin": "http://elsewhere.example"}, 403),
        ({"origin": "http://127.0.0.1:9999"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "http://["}, 403),
        ({"sec_fetch_site": "cross-site"}, 403),
        ({"sec_fetch_site": "same-site"}, 403),
        ({"sec_fetch_site": "same-origin"}, 200),
        ({}, 200),
    ],
)
def test_a_change_comes_from_our_own_pages(headers: dict[str, str], status: int) -> None:
    """A browser says where a form began; a program says nothing."""
    assert ask("POST", **headers)[0] == status


def test_looking_is_free_of_where_it_began() -> None:
    """A link in a message or another site may lead to a page."""
    assert ask(origin="http://elsewhere.example")[0] == 200
