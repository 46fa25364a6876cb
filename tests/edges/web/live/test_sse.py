"""Open pages are sent what reads differently, and nothing else."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

from kuraban.core.entries import Stir
from kuraban.core.facts import Logged
from kuraban.edges.signing import Visit
from kuraban.edges.web.live.sse import Press, events
from kuraban.edges.web.page_context import Visitor
from kuraban.edges.web.views import cellar
from tests.edges.web.conftest import Browse, context_of
from tests.edges.web.served import Served

MIO = Visitor(Visit("n", 0.0), "log", "mio", "en")


async def said(stream: AsyncIterator[str]) -> dict[str, str]:
    """The next event that tells something."""
    async for text in stream:
        if text.startswith("data: "):
            told: dict[str, str] = json.loads(text.removeprefix("data: ").splitlines()[0])
            return told
    return {}


def test_the_first_event_is_everything_and_the_next_what_changed(served: Served) -> None:
    """After a stir only that tank's row."""
    here = context_of(served)

    async def look() -> tuple[Any, Any]:
        here.hub.open(asyncio.get_running_loop())
        here.hub.put(served.snapshot())
        stream = events(here, "cellar", MIO, cellar.parts, Press())
        first = await said(stream)
        served.engine.view.entry_log.subject_state("tank-3").last_stir = served.clock()
        here.hub.put(served.snapshot())
        return first, await said(stream)

    first, then = asyncio.run(look())
    assert {"needs", "day", "row-tank-1", "row-koji-store"} <= set(first)
    assert list(then) == ["row-tank-3"]


def test_each_event_bears_the_watchs_time(served: Served) -> None:
    """By which a page that was opened in the evening dates a tap at night."""
    here = context_of(served)

    async def look() -> str:
        here.hub.open(asyncio.get_running_loop())
        here.hub.put(served.snapshot())
        stream = events(here, "cellar", MIO, cellar.parts, Press())
        return [await anext(stream) for _ in range(2)][1]

    told = asyncio.run(look())
    assert f"\nid: {served.snapshot().at}\n\n" in told


def test_many_phones_cost_one_rendering(served: Served) -> None:
    """A part is made once for each language."""
    here, press, made = context_of(served), Press(), list[str]()

    def make(*args: Any) -> dict[str, str]:
        made.append(args[1].language)
        return {"x": "y"}

    here.hub.put(served.snapshot())
    for _ in range(10):
        for language in ("en", "ja"):
            press.parts(here, here.hub.shown(), "cellar", language, True, make)
    assert made == ["en", "ja"]


def test_a_stream_ends_with_the_pages(served: Served) -> None:
    """Nobody who looks holds up a stop."""
    here = context_of(served)

    async def look() -> list[str]:
        here.hub.open(asyncio.get_running_loop())
        here.hub.put(served.snapshot())
        stream = events(here, "cellar", MIO, cellar.parts, Press())
        await said(stream)
        here.hub.close()
        return [text async for text in stream]

    assert asyncio.run(look()) == []


def test_nothing_is_streamed_of_a_place_that_is_not_there(browse: Browse) -> None:
    """It is not found, like its page."""
    assert browse().get("/live/place/tank-99").status_code == 404


def test_a_page_hears_when_more_of_it_is_old(served: Served) -> None:
    """Somebody logged a stir: what lies about the parts is fetched anew. A new value is no such."""
    here, press = context_of(served), Press()

    def edition() -> str:
        here.hub.put(served.snapshot())
        return press.parts(here, here.hub.shown(), "cellar", "en", True, cellar.parts)["anew"]

    first = edition()
    served.pass_time(1.0)
    assert edition() == first
    now = served.clock()
    served.submit(Logged("s1", "tank-3", Stir(), now, now, by="mio"))
    assert edition() != first
