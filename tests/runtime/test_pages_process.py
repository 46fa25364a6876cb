"""The pages beside a watch: pictures go out, entries come in, and no fault reaches the watch."""

from __future__ import annotations

import dataclasses
import logging
import os
import re
import signal
import socket
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from kuraban.clock import Clock
from kuraban.runtime import pages_process as module
from kuraban.runtime.pages_process import PagesProcess
from kuraban.settings import Web
from tests.edges.web.served import Served
from tests.nights import wait


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Served:
    return Served.live(tmp_path_factory.mktemp("lived"))


@pytest.fixture
def served(lived: Served, tmp_path: Path) -> Served:
    return lived.twin(tmp_path)


@pytest.fixture
def port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture
def pages_process(
    served: Served, port: int, caplog: pytest.LogCaptureFixture
) -> Iterator[PagesProcess]:
    caplog.set_level(logging.INFO)
    where = Web(port=port, public="https://kura.example")
    settings = dataclasses.replace(served.settings, web=where)
    clock = Clock(start=served.clock())
    made = PagesProcess(settings, served.words, served.path, served.submit, clock)
    yield made
    made.stop()


def pid(pages_process: PagesProcess) -> int | None:
    """The process of the pages, None while there is none."""
    pages = pages_process._pages
    return pages._process.pid if pages is not None and pages.alive else None


def listening(port: int) -> bool:
    try:
        httpx.get(f"http://127.0.0.1:{port}/")
    except httpx.HTTPError:
        return False
    return True


def cellar(port: int) -> httpx.Response:
    return httpx.get(f"http://127.0.0.1:{port}/", headers={"accept-language": "en"})


def test_the_first_turn_hangs_the_first_picture(
    served: Served, pages_process: PagesProcess, port: int
) -> None:
    """Until then the pages say that the watch has just started."""
    pages_process.start()
    wait(lambda: listening(port), 20)
    assert cellar(port).status_code == 503
    pages_process.after_turn(served.engine)
    wait(lambda: "Tank 3" in cellar(port).text, 5)


def test_what_somebody_enters_reaches_the_watch(
    served: Served, pages_process: PagesProcess, port: int
) -> None:
    """A stir that is tapped on a page is an entry of the watch, with who and which way."""
    pages_process.start()
    pages_process.after_turn(served.engine)
    wait(lambda: listening(port) and cellar(port).status_code == 200, 20)
    page = cellar(port)
    token = re.search(r'name="token" content="(\w+)"', page.text)
    assert token is not None
    form = {"entry": "stir", "for": "10m", "by": "mio", "token": token[1]}
    cookie = page.headers["set-cookie"].partition(";")[0]  # for https alone: sent on by hand
    url, headers = f"http://127.0.0.1:{port}/log/tank-4", {"cookie": cookie}
    answer = httpx.post(url, data=form, headers=headers)
    assert answer.status_code == 303, answer.text
    told = served.engine.view.entry_log.about("tank-4")[-1]
    assert (told.entry.for_, told.way) == (600.0, "page")  # type: ignore[union-attr]


def test_a_picture_is_made_at_most_once_a_second(
    served: Served, pages_process: PagesProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many turns there are."""
    made: list[object] = []
    monkeypatch.setattr(pages_process._painter, "snapshot", made.append)
    for _ in range(20):
        pages_process.after_turn(served.engine)
    assert len(made) == 1


def test_pages_whose_address_somebody_has_are_tried_again(
    served: Served, pages_process: PagesProcess, port: int, monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:  # fmt: skip
    """It is logged, the watch goes on, and they listen once the address is free."""
    monkeypatch.setattr(module, "EVERY", 0.0)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", port))
        taken.listen()
        pages_process.start()
        wait(lambda: "cannot listen" in caplog.text, 20)
        wait(lambda: pid(pages_process) is None, 5)
        pages_process.after_turn(served.engine)
    monkeypatch.setattr(module, "AGAIN", 0.0)
    pages_process.after_turn(served.engine)
    wait(lambda: listening(port), 20)


def test_pages_that_were_killed_come_back(
    served: Served, pages_process: PagesProcess, port: int, monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:  # fmt: skip
    """Out of memory, say; the watch logs it and has gone on meanwhile."""
    monkeypatch.setattr(module, "EVERY", 0.0)
    monkeypatch.setattr(module, "AGAIN", 0.0)
    pages_process.start()
    wait(lambda: listening(port), 20)
    first = pid(pages_process)
    assert first is not None
    os.kill(first, signal.SIGKILL)
    wait(lambda: pid(pages_process) is None, 5)
    pages_process.after_turn(served.engine)
    wait(lambda: listening(port), 20)
    pages_process.after_turn(served.engine)
    assert pid(pages_process) not in (None, first)
    assert "ended by themselves" in caplog.text
    wait(lambda: cellar(port).status_code == 200, 5)


def test_a_fault_in_a_picture_stays_with_the_pages(
    served: Served, pages_process: PagesProcess, monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:  # fmt: skip
    """It is told as ours, and the pages stay as they are."""
    pages_process.start()
    monkeypatch.setattr(served.engine.watched, "alarm_manager", None)
    pages_process.after_turn(served.engine)
    assert "a fault of ours" in caplog.text


def test_links_are_made_once_the_pages_are_there(pages_process: PagesProcess) -> None:
    """Before, messages go out without."""
    told = ("tank-5", "warm", "aki", "acknowledge", 0.0)
    assert pages_process.link(*told) is None
    pages_process.start()
    link = pages_process.link(*told)
    assert link is not None and link.startswith("https://kura.example/a/")


def test_a_link_needs_a_public_address(served: Served, port: int) -> None:
    """Phones at home reach nothing else."""
    settings = dataclasses.replace(served.settings, web=Web(port=port))
    home = PagesProcess(settings, served.words, served.path, served.submit, Clock())
    home.start()
    assert home.link("tank-5", "warm", "aki", "acknowledge", 0.0) is None
    home.stop()


def test_without_their_table_there_are_no_pages(served: Served) -> None:
    """No process is started, and nobody listens."""
    settings = dataclasses.replace(served.settings, web=None)
    none = PagesProcess(settings, served.words, served.path, served.submit, served.clock)
    none.start()
    none.after_turn(served.engine)
    assert pid(none) is None
    none.stop()
