"""The pages beside a watch: pictures go out, entries come in, and no fault reaches the watch."""

from __future__ import annotations

import dataclasses
import socket
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from kuraban.asking import showing as module
from kuraban.asking.showing import Showing
from kuraban.settings import Pages
from tests.edges.pages.served import Served


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
def showing(served: Served, port: int) -> Iterator[Showing]:
    where = Pages(port=port, public="https://kura.example")
    settings = dataclasses.replace(served.settings, pages=where)
    made = Showing(settings, served.words, served.path, served.submit, served.clock)
    yield made
    made.stop()


def test_the_first_turn_hangs_the_first_picture(
    served: Served, showing: Showing, port: int
) -> None:
    """Within the turn itself."""
    showing.start()
    assert httpx.get(f"http://127.0.0.1:{port}/").status_code == 503
    showing.after_turn(served.engine)
    assert "Tank 3" in httpx.get(f"http://127.0.0.1:{port}/").text


def test_a_picture_is_made_at_most_once_a_second(served: Served, showing: Showing) -> None:
    """However many turns there are."""
    showing.start()
    for _ in range(20):
        showing.after_turn(served.engine)
    assert showing.pages is not None
    assert showing.pages.board.shown().number == 1


def test_pages_whose_address_somebody_has_are_tried_again(
    served: Served, showing: Showing, port: int, monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:  # fmt: skip
    """It is logged, the watch goes on, and they listen once the address is free."""
    monkeypatch.setattr(module, "EVERY", 0.0)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", port))
        taken.listen()
        showing.start()
        assert "cannot listen" in caplog.text
        showing.after_turn(served.engine)
    monkeypatch.setattr(module, "AGAIN", 0.0)
    showing.after_turn(served.engine)
    assert httpx.get(f"http://127.0.0.1:{port}/").status_code == 200


def test_a_fault_in_a_picture_stays_with_the_pages(
    served: Served, showing: Showing, monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:  # fmt: skip
    """It is told as ours, and the pages stay as they are."""
    showing.start()
    monkeypatch.setattr(served.engine, "board", None)
    showing.after_turn(served.engine)
    assert "a fault of ours" in caplog.text


def test_links_are_made_once_the_pages_are_there(showing: Showing) -> None:
    """Before, messages go out without."""
    told = ("tank-5", "warm", "aki", "acknowledge", 0.0)
    assert showing.link(*told) is None
    showing.start()
    link = showing.link(*told)
    assert link is not None and link.startswith("https://kura.example/a/")


def test_without_their_table_there_are_no_pages(served: Served, port: int) -> None:
    """Nothing is imported for them, and nobody listens."""
    settings = dataclasses.replace(served.settings, pages=None)
    none = Showing(settings, served.words, served.path, served.submit, served.clock)
    none.start()
    none.after_turn(served.engine)
    assert none.pages is None
    none.stop()
