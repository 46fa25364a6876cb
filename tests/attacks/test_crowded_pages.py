"""Strangers hold connections open, and somebody answers an alarm through the link in a message."""

from __future__ import annotations

import dataclasses
import selectors
import socket
import ssl
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from ipaddress import ip_network
from pathlib import Path

import httpx
import pytest

from kuraban.core.views.snapshot import Ring
from kuraban.edges.signing import Link, Signer
from kuraban.edges.web.security import addresses, connections, middleware
from kuraban.edges.web.security.connections import HEAD_WITHIN, MOST, OF_ONE
from kuraban.edges.web.server import Pages
from kuraban.settings import Account
from tests.edges.web.conftest import KEY
from tests.edges.web.served import Served
from tests.passwords import hashed
from tests.stopwatch import Stopwatch

WITHIN = 3.0
"""Seconds from opening the link to the watch having the answer."""
DESK, PHONE = "127.0.0.1", "127.0.0.200"
STRANGERS = [f"127.0.1.{number}" for number in range(1, 12)]
HALF = b"GET / HTTP/1.1\r\nhost: 127.0.0.1\r\nx-long: "
WHOLE = b"GET /login HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n"
BODY = b"POST /login HTTP/1.1\r\nhost: 127.0.0.1\r\ncontent-length: 60000\r\n\r\nname="
KINDS = {"silent": b"", "half-sent": HALF, "slow": HALF, "idle": WHOLE, "slow body": BODY}


@pytest.fixture(autouse=True)
def outside(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only one address of this machine is the house; its others are strangers'."""
    monkeypatch.setattr(addresses, "HOUSE", (ip_network(f"{DESK}/32"),))
    served.with_accounts(Account("mio", "log", "Mio", None, hashed("rice and water")))


@contextmanager
def held_open(port: int, count: int, among: list[str], *kinds: str) -> Iterator[None]:
    """So many connections, of each kind by turns; the slow ones send a byte now and then."""
    stop = threading.Event()
    with ExitStack() as held:
        wires = []
        for number in range(count):
            wire = socket.socket()
            held.callback(wire.close)
            wire.bind((among[number % len(among)], 0))
            wire.settimeout(5)
            wire.connect((DESK, port))
            with suppress(OSError):
                wire.sendall(KINDS[kinds[number % len(kinds)]])
            wires.append((kinds[number % len(kinds)], wire))

        def drip() -> None:
            while not stop.wait(0.5):
                for kind, wire in wires:
                    if kind.startswith("slow"):
                        with suppress(OSError):
                            wire.sendall(b"x")

        dripping = threading.Thread(target=drip)
        dripping.start()
        try:
            yield
        finally:
            stop.set()
            dripping.join()


def answered_in(served: Served, port: int, ring: Ring, number: int = 0) -> float:
    """Seconds until somebody with a phone outside has answered a ring, button and all."""
    link = Link(ring.subject, ring.condition, "sho", "acknowledge", served.clock() - number)
    path = f"/a/{Signer(KEY).link(link)}"
    stopwatch = Stopwatch()
    outside = httpx.HTTPTransport(local_address=PHONE)
    with httpx.Client(base_url=f"http://{DESK}:{port}", transport=outside, timeout=20) as phone:
        assert phone.get(path).status_code == 200
        assert phone.post(path).status_code == 303
    took = stopwatch.read()
    known = served.snapshot().ring(ring.subject, ring.condition)
    assert known is not None and known.by == "sho"
    return took


def at_the_desk(port: int) -> int:
    return httpx.get(f"http://{DESK}:{port}/login", timeout=20).status_code


@pytest.mark.parametrize("count", [220, 700])
@pytest.mark.parametrize("among", [STRANGERS[:1], STRANGERS], ids=["one stranger", "many"])
def test_an_alarm_is_answered_beside_connections_that_do_nothing(
    served: Served, port: int, ringing: Ring, count: int, among: list[str]
) -> None:
    """Silent, half-sent, slow and idle ones; and the desk works on."""
    with held_open(port, count, among, "silent", "half-sent", "slow", "idle"):
        assert answered_in(served, port, ringing) < WITHIN
        assert at_the_desk(port) == 200


def test_an_alarm_is_answered_beside_forms_that_never_end(
    served: Served, port: int, ringing: Ring
) -> None:
    """Each of them is at work, so they fill the strangers' part; the desk's own is free."""
    with held_open(port, 400, STRANGERS, "slow body"):
        assert answered_in(served, port, ringing) < WITHIN
        assert at_the_desk(port) == 200


def test_an_alarm_is_answered_though_the_house_itself_fills_the_pages(
    served: Served, port: int, ringing: Ring
) -> None:
    """A machine at home has gone mad, or a proxy does not say for whom it speaks."""
    with held_open(port, 700, [DESK], "silent", "half-sent", "slow", "idle", "slow body"):
        assert answered_in(served, port, ringing) < WITHIN


def test_open_pages_count(served: Served, port: int, ringing: Ring) -> None:
    """One account's pages, many times over from one address, do not fill the house."""
    cookies = signed_in(port, STRANGERS[0])
    head = f"GET /live/cellar HTTP/1.1\r\nhost: x\r\ncookie: kuraban={cookies}\r\n\r\n".encode()
    with ExitStack() as held:
        told = []
        for _ in range(60):
            wire = socket.create_connection((DESK, port), 10, (STRANGERS[0], 0))
            held.callback(wire.close)
            wire.sendall(head)
            told.append(wire.recv(200)[9:12])
        assert told.count(b"200") <= OF_ONE and b"503" in told
        assert answered_in(served, port, ringing) < WITHIN
        assert at_the_desk(port) == 200


def signed_in(port: int, address: str) -> str:
    outside = httpx.HTTPTransport(local_address=address)
    with httpx.Client(base_url=f"http://{DESK}:{port}", transport=outside) as browser:
        token = browser.get("/login").text.partition('name="token" content="')[2][:32]
        form = {"name": "mio", "password": "rice and water", "token": token}
        assert browser.post("/login", data=form).status_code == 303
        return browser.cookies["kuraban"]


@pytest.mark.slow
def test_nobody_who_says_nothing_stays(port: int) -> None:
    """Nor who says it byte by byte, nor after an answer; each hears that it is over."""
    kinds = ("silent", "half-sent", "slow", "idle")
    gone: dict[str, float] = {}
    with selectors.DefaultSelector() as waiting, ExitStack() as held:
        for kind in kinds:
            wire = held.enter_context(socket.create_connection((DESK, port), 5, (PHONE, 0)))
            wire.sendall(KINDS[kind])
            waiting.register(wire, selectors.EVENT_READ, kind)
        began = time.monotonic()
        while len(gone) < len(kinds) and time.monotonic() - began < 40:
            for key, _ in waiting.select(0.5):
                with suppress(OSError):
                    if key.fileobj.recv(65536):  # type: ignore[union-attr]
                        continue
                gone[key.data] = time.monotonic() - began
                waiting.unregister(key.fileobj)
            for key in list(waiting.get_map().values()):
                if key.data == "slow":
                    with suppress(OSError):
                        key.fileobj.send(b"x")  # type: ignore[union-attr]
    assert set(gone) == set(kinds)
    assert max(gone[kind] for kind in kinds[:3]) < HEAD_WITHIN + 5
    assert gone["idle"] < connections.IDLE + 5


def test_a_form_that_comes_too_slowly_is_told_so(
    port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(middleware, "BODY_WITHIN", 0.5)
    with socket.create_connection((DESK, port), 10) as wire:
        wire.sendall(BODY)
        assert wire.recv(100).startswith(b"HTTP/1.1 408")


def test_under_tls_handshakes_that_never_come_are_counted_too(
    served: Served, pages: Callable[[], Pages], tmp_path: Path, ringing: Ring
) -> None:
    """A connection that says nothing has not even begun there."""
    cert, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    command = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt",
               "ec_paramgen_curve:prime256v1", "-nodes", "-days", "1", "-subj", "/CN=localhost",
               "-keyout", str(key), "-out", str(cert)]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True)
    assert served.settings.web is not None
    web = dataclasses.replace(served.settings.web, port=0, cert_file=cert, key_file=key)
    served.settings = dataclasses.replace(served.settings, web=web)
    open_ = pages()
    port = open_.start()
    try:
        with held_open(port, 2 * MOST, STRANGERS, "silent", "half-sent"):
            took = Stopwatch()
            outside = httpx.HTTPTransport(verify=_trusting(), local_address=PHONE)
            link = Link(ringing.subject, ringing.condition, "sho", "acknowledge", served.clock())
            here = f"https://{DESK}:{port}"
            with httpx.Client(base_url=here, transport=outside, timeout=20) as phone:
                assert phone.post(f"/a/{Signer(KEY).link(link)}").status_code == 303
            assert took.read() < WITHIN
    finally:
        open_.stop()


def _trusting() -> ssl.SSLContext:
    context = ssl.create_default_context()
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    return context
