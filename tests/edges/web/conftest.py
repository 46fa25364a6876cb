"""The demo night at ten past three, its pages, and a browser without a screen."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from kuraban.core.facts import Impaired
from kuraban.core.views.snapshot import Ring
from kuraban.edges.signing import Signer
from kuraban.edges.web.drawing.recent_curves import RecentCurves
from kuraban.edges.web.live.snapshot_hub import SnapshotHub
from kuraban.edges.web.page_context import Clocked, PageContext
from kuraban.edges.web.security.feed_marks import FILE as CALENDARS
from kuraban.edges.web.security.feed_marks import FeedMarks
from kuraban.edges.web.security.signed_out import FILE, SignedOut
from kuraban.edges.web.server import Pages
from kuraban.queries.batches.batch_sheet import Batches
from kuraban.queries.setup.unknown_probes import SettingUp
from kuraban.queries.why import Why
from kuraban.settings import Account
from tests.edges.web.served import Served, page_words
from tests.long_batch import lived_batch, on_day

KEY = "k" * 64
HERE = "http://127.0.0.1:8080"
Browse = Callable[..., "Browser"]


class Browser:
    """Keeps its cookies, and sends what the forms of a page would send."""

    def __init__(self, app: Any, at: str, headers: dict[str, str], address: str) -> None:
        transport = httpx.ASGITransport(app, client=(address, 5000))
        self._client = httpx.AsyncClient(transport=transport, base_url=at, headers=headers)
        self._runner = asyncio.Runner()
        self.cookies = self._client.cookies

    def ask(self, method: str, path: str, **more: Any) -> httpx.Response:
        return self._runner.run(self._client.request(method, path, **more))

    def get(self, path: str, **more: Any) -> httpx.Response:
        return self.ask("GET", path, **more)

    def post(self, path: str, **more: Any) -> httpx.Response:
        return self.ask("POST", path, **more)

    def page(self, path: str, **more: Any) -> str:
        answer = self.get(path, **more)
        assert answer.status_code == 200, answer.text
        return answer.text

    def token(self) -> str:
        found = re.search(r'<meta name="token" content="([0-9a-f]+)">', self.get("/login").text)
        assert found is not None
        return found[1]

    def tap(self, subject: str, **fields: str) -> httpx.Response:
        """One tap, as a form without script; where it leads is not followed."""
        fields.setdefault("token", self.token())
        return self.post(f"/log/{subject}", data=fields)

    def sign_in(self, name: str, password: str, **more: str) -> httpx.Response:
        form = {"name": name, "password": password, "token": self.token(), **more}
        return self.post("/login", data=form)

    def close(self) -> None:
        self._runner.run(self._client.aclose())
        self._runner.close()


@pytest.fixture(scope="session")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The demo night up to ten past three; nobody may change it."""
    night = Served.live(tmp_path_factory.mktemp("lived"))
    yield night
    night.close()


@pytest.fixture
def served(lived: Served, tmp_path: Path) -> Iterator[Served]:
    """The same watch for one test alone."""
    night = lived.twin(tmp_path)
    yield night
    night.close()


@pytest.fixture(scope="session")
def half(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The long batch on the morning of day 18; nobody may change it."""
    lived = lived_batch(tmp_path_factory.mktemp("half"), on_day(18, 3))
    yield lived
    lived.close()


@pytest.fixture
def ringing(served: Served) -> Ring:
    """A ring that nobody has answered: messages to phones do not go out."""
    served.submit(Impaired("pages", True, served.clock(), "no answer"))
    served.pass_time(1.0)
    ring = served.snapshot().ring("watch", "pages-failing")
    assert ring is not None and ring.state == "unacknowledged"
    return ring


@pytest.fixture
def pages(served: Served) -> Callable[[], Pages]:
    """Makes the pages of the night, for the accounts that it has by then."""

    return lambda: pages_of(served)


def pages_of(served: Served) -> Pages:
    hub = SnapshotHub()
    hub.put(served.snapshot())
    served.seen = hub.put
    where = served.settings.web
    assert where is not None
    return Pages(
        served.settings.house, where, KEY, page_words(), hub, served.path,
        served.submit, served.clock, SettingUp(served.settings),
        Batches(served.settings.house, served.path),
        Why(served.path, page_words()),
    )  # fmt: skip


@pytest.fixture
def browse(pages: Callable[[], Pages]) -> Iterator[Browse]:
    """Opens a browser at the pages: its language, the address it is at, and its own address."""
    opened: list[Browser] = []

    def open_(
        language: str = "en", *, at: str = HERE, app: Any = None, address: str = "127.0.0.1"
    ) -> Browser:
        headers = {"accept-language": language}
        opened.append(Browser(app or pages().app, at, headers, address))
        return opened[-1]

    yield open_
    for browser in opened:
        browser.close()


def context_of(served: Served) -> PageContext:
    """What every page works with, for whoever makes parts of one by hand."""
    return PageContext(
        clocked=Clocked(served.settings.house), words=page_words(), hub=SnapshotHub(),
        history=served.path, submit=served.submit, clock=served.clock, signer=Signer(KEY),
        accounts={}, tools=SettingUp(served.settings),  # type: ignore[arg-type]
        signed_out=SignedOut(served.path.with_name(FILE), 0.0), recent=RecentCurves(served.path),
        feeds=FeedMarks(served.path.with_name(CALENDARS)),
    )  # fmt: skip


def account(name: str, role: Any, password: str) -> Account:
    return Account(id=name, role=role, name=name.title(), password=password)
