"""The pages of the demo night at ten past three, over real connections, for people who mean ill."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator

import pytest

from kuraban.edges.web.server import Pages
from kuraban.settings import Web
from tests.edges.web.conftest import browse, lived, pages, ringing, served
from tests.edges.web.served import Served

__all__ = ["browse", "lived", "pages", "ringing", "served"]


@pytest.fixture
def port(served: Served, pages: Callable[[], Pages]) -> Iterator[int]:
    """Where they listen."""
    web = dataclasses.replace(served.settings.web or Web(), port=0)
    served.settings = dataclasses.replace(served.settings, web=web)
    open_ = pages()
    yield open_.start()
    open_.stop()
