"""Requests that no browser sends: each is answered with what is wrong; none is our own fault."""

from __future__ import annotations

import logging
import socket

import pytest

from kuraban.settings import Account
from tests.edges.web.served import Served
from tests.passwords import hashed

WITH_ACCOUNTS = (Account("aki", "manage", "Aki", None, hashed("rice and water")),)
PATHS = (
    b"/", b"/login", b"/static/paper.css", b"/api/v1/picture", b"/nowhere", b"/log/tank-1",
    b"/api/v1/entries/tank-1", b"/a/x", b"/%ff%fe", b"/place/%00", b"http://[/", b"//[", b"*",
    b"/login?next=http://[", b"/login?next=%ff//[", b"/?lang=%ff",
)  # fmt: skip
HEADERS = (
    b"origin: http://[", b"origin: http://a]b", b"origin: \xff\xfe", b"host: [", b"host: a[b",
    b"host: ]:99999", b"host: x:none", b"host: \xff", b"content-length: abc",
    b"content-length: 0x10", b"content-length: -1", b"cookie: kuraban=\xff; ;;=",
    b"cookie: \xe6\xab\x82", b"authorization: Basic \xff\xff", b"authorization: Basic Og==",
    b"authorization: Basic AAAA", b"authorization: Basic wqk6wqk=", b"authorization: Basic =",
    b"accept: \xff", b"accept-language: \xff;q=nan,de;q=inf", b"content-type: \xff/\xff",
    b"content-type: multipart/form-data", b"content-type: multipart/form-data; boundary=\xff",
    b"content-type: application/x-www-form-urlencoded; charset=none", b"range: bytes=-",
    b"range: bytes=9999999999999999999999-", b"if-modified-since: yesterday",
    b"if-modified-since: Mon, 99 Xxx 99999 99:99:99 GMT", b"if-none-match: \xff",
    b"x-kuraban-token: \xff", b"sec-fetch-site: \xff", b"x-forwarded-for: [", b"forwarded: \xff",
    b"referer: http://[", b"transfer-encoding: gzip", b"upgrade: websocket\r\nconnection: Upgrade",
)  # fmt: skip


@pytest.fixture(autouse=True, params=["with accounts", "without"])
def either(request: pytest.FixtureRequest, served: Served) -> None:
    if request.param == "with accounts":
        served.with_accounts(*WITH_ACCOUNTS)


def status(port: int, method: bytes, path: bytes, header: bytes) -> int:
    body = b"x=%ff&\xff" if method == b"POST" else b""
    lines = [method + b" " + path + b" HTTP/1.1", header, b"connection: close"]
    if not header.startswith(b"host"):
        lines.append(b"host: 127.0.0.1")
    if body and not header.startswith((b"content-length", b"transfer")):
        lines.append(b"content-length: %d" % len(body))
    with socket.create_connection(("127.0.0.1", port), 10) as wire:
        wire.sendall(b"\r\n".join(lines) + b"\r\n\r\n" + body)
        return int(wire.makefile("rb").readline().split()[1])


@pytest.mark.parametrize("method", [b"GET", b"POST"], ids=["GET", "POST"])
def test_no_header_and_no_path_is_a_fault_of_ours(
    port: int, method: bytes, caplog: pytest.LogCaptureFixture
) -> None:
    """An answer below 500, and no traceback in the log."""
    tried = [(path, header) for path in PATHS[:6] for header in HEADERS]
    tried += [(path, b"x: y") for path in PATHS[6:]]
    with caplog.at_level(logging.WARNING):
        wrong = [
            (*one, told) for one in tried if not 200 <= (told := status(port, method, *one)) < 500
        ]
    assert not wrong
    assert not [one for one in caplog.records if one.exc_info]


@pytest.mark.parametrize("origin", [b"http://[", b"http://a]b", b"\xff"])
def test_an_origin_that_cannot_be_read_is_not_ours(port: int, origin: bytes) -> None:
    assert status(port, b"POST", b"/log/tank-1", b"origin: " + origin) == 403
