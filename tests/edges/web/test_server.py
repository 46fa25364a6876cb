"""The pages in a thread of their own, over a real connection."""

from __future__ import annotations

import dataclasses
import json
import socket
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest

from kuraban.edges.web.live.snapshot_hub import SnapshotHub
from kuraban.edges.web.server import Pages
from kuraban.errors import MachineError
from kuraban.queries.setup.unknown_probes import SettingUp
from kuraban.settings import Web as Where
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.conftest import KEY
from tests.edges.web.served import Served
from tests.stopwatch import Stopwatch

Make = Callable[..., Pages]


@pytest.fixture
def make(served: Served) -> Iterator[Make]:
    """Pages at a port that is free; they end with the test."""
    started: list[Pages] = []

    def make_(**where: object) -> Pages:
        hub = SnapshotHub()
        hub.put(served.snapshot())
        settings = dataclasses.replace(Where(port=0), **where)  # type: ignore[arg-type]
        house, words = served.settings.house, load_page_words()
        made = (hub, served.path, served.submit, served.clock, SettingUp(served.settings))
        started.append(Pages(house, settings, KEY, words, *made))
        return started[-1]

    yield make_
    for pages in started:
        pages.stop()


def test_pages_are_served_and_end_when_told(make: Make) -> None:
    """Within two seconds, open pages included."""
    pages = make()
    port = pages.start()
    with httpx.stream("GET", f"http://127.0.0.1:{port}/live/cellar") as live:
        assert next(live.iter_lines()).startswith("retry")
        assert httpx.get(f"http://127.0.0.1:{port}/").status_code == 200
        took = Stopwatch()
        pages.stop()
        assert took.read() < 2.0
    assert not pages.alive
    with pytest.raises(httpx.TransportError):
        httpx.get(f"http://127.0.0.1:{port}/")


def test_a_new_picture_reaches_an_open_page_at_once(make: Make, served: Served) -> None:
    """Well within two seconds of its publish."""
    pages = make()
    port = pages.start()
    with httpx.stream("GET", f"http://127.0.0.1:{port}/live/place/tank-3") as live:
        lines = live.iter_lines()
        first = _told(lines)
        moved = dataclasses.replace(served.snapshot(), places=tuple(
            dataclasses.replace(p, product=16.3) for p in served.snapshot().places
        ))  # fmt: skip
        took = Stopwatch()
        pages.hub.put(moved)
        then = _told(lines)
        assert took.read() < 1.0
    assert "15.0" in first["now"] and "16.3" in then["now"]


def _told(lines: Iterator[str]) -> dict[str, str]:
    for line in lines:
        if line.startswith("data: "):
            told: dict[str, str] = json.loads(line.removeprefix("data: "))
            return told
    return {}


def test_an_address_that_somebody_has_is_told_at_once(make: Make) -> None:
    """With the address, before any thread starts."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        pages = make(port=port)
        with pytest.raises(MachineError, match=f"127.0.0.1:{port}"):
            pages.start()
    assert not pages.alive


def test_the_pages_start_again(make: Make) -> None:
    """After an end, at the same address."""
    pages = make()
    pages.start()
    pages.stop()
    port = pages.start()
    assert httpx.get(f"http://127.0.0.1:{port}/").status_code == 200


def test_pages_speak_tls_with_their_own_certificate(make: Make, tmp_path: Path) -> None:
    """The cookie is then for TLS alone."""
    cert, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    command = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt",
               "ec_paramgen_curve:prime256v1", "-nodes", "-days", "1", "-subj", "/CN=localhost",
               "-keyout", str(key), "-out", str(cert)]  # fmt: skip
    subprocess.run(command, check=True, capture_output=True)
    port = make(cert_file=cert, key_file=key).start()
    answer = httpx.get(f"https://127.0.0.1:{port}/", verify=False)
    assert answer.status_code == 200
    assert "Secure" in answer.headers["set-cookie"]
    assert "strict-transport-security" in answer.headers


def test_a_certificate_that_cannot_be_used_is_told(make: Make, tmp_path: Path) -> None:
    """With its file."""
    broken = tmp_path / "cert.pem"
    broken.write_text("no certificate")
    with pytest.raises(MachineError, match=r"cert\.pem"):
        make(cert_file=broken, key_file=broken).start()


def test_a_stated_proxy_is_believed_about_who_asks(make: Make) -> None:
    """And nobody else; so a proxy's many visitors do not wait for one that guesses."""
    told: list[str] = []
    for proxy in (("127.0.0.1",), ("10.9.9.9",)):
        pages = make(proxy=proxy)
        inner = pages.app

        async def see(scope, receive, send, inner=inner):  # type: ignore[no-untyped-def]
            told.append(scope["client"][0])
            await inner(scope, receive, send)

        pages.app = see
        port = pages.start()
        httpx.get(f"http://127.0.0.1:{port}/", headers={"x-forwarded-for": "203.0.113.7"})
    assert told == ["203.0.113.7", "127.0.0.1"]


def test_a_header_that_breaks_lines_is_no_header(make: Make) -> None:
    """Sent raw, as no library would send it; the pages go on."""
    pages = make()
    port = pages.start()
    with socket.create_connection(("127.0.0.1", port), 5) as wire:
        wire.sendall(b"GET /?lang=en%0d%0aset-cookie:%20x=1 HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n")
        head = wire.recv(65536).split(b"\r\n\r\n")[0]
    assert b"x=1" not in head
    with socket.create_connection(("127.0.0.1", port), 5) as wire:
        wire.sendall(b"GET / HTTP/1.1\r\nhost: 127.0.0.1\r\nx: a\x00b\r\n\r\n")
        assert wire.recv(100).startswith(b"HTTP/1.1 400")
    assert httpx.get(f"http://127.0.0.1:{port}/").status_code == 200


def test_ten_phones_watch_without_a_thread_each(make: Make) -> None:
    """They cost one loop."""
    pages = make()
    port = pages.start()
    before = threading.active_count()
    streams = [httpx.Client() for _ in range(10)]
    try:
        for client in streams:
            context = client.stream("GET", f"http://127.0.0.1:{port}/live/cellar")
            next(context.__enter__().iter_lines())
        assert threading.active_count() <= before + 2
    finally:
        pages.stop()
        for client in streams:
            client.close()
