"""The pages in a real Chromium: the three days from message to done, and what a visit costs.

    tests/bench/pages [--out FILE]

A day's line counts taps, screens scrolled to reach what is tapped, and seconds of the machine
between; what a person reads and thinks is not in it. A visit is a first one, nothing kept.
"""

from __future__ import annotations

import argparse
import dataclasses
import itertools
import json
import math
import re
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Locator, Page, sync_playwright

from kuraban.core.facts import Impaired
from kuraban.core.site import House as Site
from kuraban.core.views.snapshot import PlaceNow, Snapshot
from kuraban.edges.signing import Link, Signer
from kuraban.edges.web.drawing.recent_curves import RecentCurves, Spark
from tests.browser.conftest import DESK, KEY, PHONE, House, serving
from tests.edges.web.served import LATE, Served

RESULTS = Path(__file__).parent / "results" / "pages.json"
SIZES = {"phone": PHONE, "desk": DESK}
WARM = "2026-02-03T23:50:00+09:00"
"""Tank 5 is warm and nobody has answered."""
SHIFT = """() => new Promise((done) => { let sum = 0;
  new PerformanceObserver((list) => { for (const one of list.getEntries())
    if (!one.hadRecentInput) sum += one.value; }).observe({ type: "layout-shift", buffered: true });
  setTimeout(() => done(sum), 400); })"""
PAINT = "() => performance.getEntriesByName('first-contentful-paint')[0]?.startTime / 1000"
TOO_WIDE = "() => document.documentElement.scrollWidth - innerWidth"


class Day:
    """Counts what a hand does on the way through one job."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps, self.screens = page, 0, 0.0
        self.began = time.monotonic()

    def press(self, what: str, leads: str = "") -> None:
        target = self.page.locator(what).first
        self._reach(target)
        self.taps += 1
        target.click()
        if leads:
            self.page.wait_for_url(leads)

    def write(self, what: str, text: str) -> None:
        target = self.page.locator(what).first
        self._reach(target)
        self.taps += 1
        target.fill(text)

    def _reach(self, target: Locator) -> None:
        target.wait_for(state="visible")
        height = self.page.viewport_size["height"]  # type: ignore[index]
        box = None
        while box is None:  # a part is put in anew just then
            box = target.bounding_box(timeout=5000)
        below = max(box["y"] + box["height"] - height, -box["y"], 0.0)
        self.screens += math.ceil(below / height * 10) / 10
        target.scroll_into_view_if_needed()

    def told(self) -> dict[str, float]:
        return {"taps": self.taps, "screens": round(self.screens, 1),
                "seconds": round(time.monotonic() - self.began, 1)}  # fmt: skip


def form(entry: str, more: str = "") -> str:
    return f'form.tap:has(input[name=entry][value="{entry}"]){more} button'


def crew(house: House, page: Page) -> None:
    day = Day(page)
    page.goto(house.at + "/")
    day.press("#row-tank-3 .name", "**/place/tank-3")
    day.press(form("stir"), "**told=**")
    done(page, day)


def crew_round(house: House, page: Page) -> None:
    day = Day(page)
    page.goto(house.at + "/round")
    for tank in ("tank-3", "tank-4", "tank-5", "tank-6"):
        day.press(f"#row-{tank} {form('stir')}", f"**of={tank}**")
    done(page, day)


def maintenance(house: House, page: Page) -> None:
    """The link of the message, "I have it" with an hour for it, what was found and done."""
    day, ring = Day(page), house.watch.snapshot().ring("watch", "pages-failing")
    assert ring is not None
    link = Link(ring.subject, ring.condition, "ken", "acknowledge", house.watch.clock())
    page.goto(f"{house.at}/a/{Signer(KEY).link(link)}")
    day.press("form.answers button.main")
    day.write("#found", "SIM card was loose")
    day.press("#found + button")
    page.get_by_text("SIM card was loose").wait_for()
    done(page, day)


def chiller(house: House, page: Page) -> None:
    """The same of a chiller that somebody has in hand: from the cellar to what was done."""
    day = Day(page)
    page.goto(house.at + "/")
    day.press('#needs a[href="/coolers/chiller-1"]', "**/coolers/chiller-1")
    day.write("#note-text", "Breaker reset")
    day.press("#note-text + button", "**told=**")
    done(page, day)


def brewer(house: House, page: Page) -> None:
    """Woken: what and how long, "I have it"."""
    day = Day(page)
    page.goto(house.at + "/")
    day.press(form("acknowledge"), "**told=**")
    done(page, day)


def brewer_plan(house: House, page: Page) -> None:
    day = Day(page)
    page.goto(house.at + "/")
    day.press("#row-tank-5 .name", "**/place/tank-5")
    day.press(form("aim", ":has(input[value='aim-0.1'])"), "**told=**")
    done(page, day)


def brewer_quiet(house: House, page: Page) -> None:
    day = Day(page)
    page.goto(house.at + "/rings")
    day.press("[id^=else-tank-5] summary")
    day.press("[id^=else-tank-5] button[name=for][value='2h']", "**told=**")
    page.locator("#held").wait_for()
    done(page, day)


TOLD: dict[Page, dict[str, float]] = {}


def done(page: Page, day: Day) -> None:
    TOLD[page] = day.told()


JOBS: dict[str, tuple[str, Callable[[House, Page], None]]] = {
    "crew: look at a tank, log a stir": (LATE, crew),
    "crew: a round of four tanks": (LATE, crew_round),
    "maintenance: link, I have it, what was done": (LATE, maintenance),
    "maintenance: from the cellar to what was done": (LATE, chiller),
    "brewer: I have it": (WARM, brewer),
    "brewer: −0.1 by 06:00": (WARM, brewer_plan),
    "brewer: quiet for two hours": (WARM, brewer_quiet),
}


class Lent(RecentCurves):
    """Tanks that are only drawn have the curve of one that was lived."""

    def spark(self, house: Site, place: PlaceNow, now: float) -> Spark | None:
        lived = place.id if place.id in house.place else f"tank-{int(place.id[1:]) % 6 + 1}"
        return super().spark(house, dataclasses.replace(place, id=lived), now)


def tanks(house: House, count: int) -> Snapshot:
    """The picture with so many tanks; every eighth is warm."""
    seen = house.watch.snapshot()
    own = [one for one in seen.places if one.kind == "tank"]
    others = tuple(one for one in seen.places if not one.brews)
    if count == 0:
        return dataclasses.replace(seen, places=others, rings=())
    made = tuple(
        dataclasses.replace(
            own[number % 6], id=f"t{number}", name=f"Tank {number + 1}",
            **({"word": "warm", "difference": 0.7} if number % 8 == 7 else {}),  # type: ignore[arg-type]
        )
        for number in range(count)
    )  # fmt: skip
    context = house.pages.app._app.state.context  # type: ignore[attr-defined]
    object.__setattr__(context, "recent", Lent(house.watch.path))
    return dataclasses.replace(seen, places=made + others)


@contextmanager
def opened(
    chrome: Browser, size: tuple[int, int], language: str = "en", colours: str = "light",
    **more: Any,
) -> Iterator[Page]:  # fmt: skip
    context = chrome.new_context(
        viewport={"width": size[0], "height": size[1]}, locale=language, color_scheme=colours,  # type: ignore[arg-type]
        has_touch=size == PHONE, reduced_motion="reduce", **more,
    )  # fmt: skip
    yield context.new_page()
    context.close()


def visit(page: Page, address: str) -> dict[str, float]:
    """Bytes that came, seconds to the first paint, layout shift, pixels too wide."""
    answers: list[Any] = []
    page.on("response", lambda answer: answers.append(answer))
    page.goto(address, wait_until="load")
    shift, paint = page.evaluate(SHIFT), page.evaluate(PAINT)
    kept = [one for one in answers if "/live/" not in one.url and "keeper" not in one.url]
    kept = [one for one in kept if one.request.service_worker is None]
    weight = sum(one.request.sizes()["responseBodySize"] for one in kept)
    return {"kB": round(weight / 1000, 1), "paint": round(paint, 2), "shift": round(shift, 4),
            "too_wide": page.evaluate(TOO_WIDE)}  # fmt: skip


def visits(chrome: Browser, house: House) -> dict[str, dict[str, float]]:
    """The worst of all eight ways of looking, of each page."""
    ring = house.watch.snapshot().rings[0]
    link = Link(ring.subject, ring.condition, "ken", "acknowledge", house.watch.clock())
    every = {
        "cellar": "/", "tank": "/place/tank-5", "cooler": "/coolers/chiller-1",
        "answer": f"/a/{Signer(KEY).link(link)}", "round": "/round", "rings": "/rings",
    }  # fmt: skip
    found = {}
    for name, path in every.items():
        worst: dict[str, float] = {}
        best = math.inf
        for size, language, colours in itertools.product(
            SIZES.values(), ("en", "ja"), ("light", "dark")
        ):
            with opened(chrome, size, language, colours) as page:
                one = visit(page, house.at + path)
            best = min(one["paint"], best)
            worst = {key: max(value, worst.get(key, value)) for key, value in one.items()}
        found[name] = {**worst, "paint_best": best}
    for count in (0, 40):
        house.pages.hub.put(tanks(house, count))
        with opened(chrome, PHONE) as page:
            found[f"cellar, {count} tanks"] = visit(page, house.at + "/")
            found[f"cellar, {count} tanks"]["screens"] = round(
                page.evaluate("document.documentElement.scrollHeight / innerHeight"), 1
            )
            if count:
                found["cellar, 40 tanks"]["live"] = live(house, page)
    house.pages.hub.put(house.watch.snapshot())
    return found


def live(house: House, page: Page) -> float:
    """Seconds from the picture to the open page."""
    page.wait_for_timeout(1500)
    seen = tanks(house, 40)
    first = dataclasses.replace(seen.places[0], product=23.4)
    began = time.monotonic()
    house.pages.hub.put(dataclasses.replace(seen, places=(first, *seen.places[1:])))
    page.wait_for_function("() => document.querySelector('main').innerText.includes('23.4')")
    return round(time.monotonic() - began, 2)


def troubles(chrome: Browser, house: House) -> dict[str, Any]:
    """A connection that is silent, cut or slow; no script; text at 200 %; paper."""
    found: dict[str, Any] = {}
    with opened(chrome, PHONE) as page:
        page.route("**/live/**", lambda route: None)
        page.goto(house.at + "/place/tank-5")
        began = time.monotonic()
        page.locator("#lost").wait_for(state="visible", timeout=60_000)
        found["silent: seconds to the banner"] = round(time.monotonic() - began, 1)
    with opened(chrome, PHONE) as page:
        page.goto(house.at + "/")
        page.wait_for_function("() => navigator.serviceWorker.controller !== null")
        page.goto(house.at + "/place/tank-5")
        page.wait_for_timeout(1000)
        page.context.set_offline(True)
        page.goto(house.at + "/place/tank-5")
        page.wait_for_function("() => document.body.dataset.kept !== undefined")
        page.goto(house.at + "/batches")
        found["cut: a page never open"] = page.inner_text("h1")
    with opened(chrome, PHONE) as page:
        session = page.context.new_cdp_session(page)
        slow = {"offline": False, "latency": 300, "downloadThroughput": 50_000,
                "uploadThroughput": 20_000}  # fmt: skip
        session.send("Network.enable")
        session.send("Network.emulateNetworkConditions", slow)
        found["slow (50 kB/s, 300 ms): first paint"] = visit(page, house.at + "/")["paint"]
    with opened(chrome, PHONE, java_script_enabled=False) as page:
        page.goto(house.at + "/place/tank-5")
        page.locator(form("stir")).click()
        found["no script: a stir is told"] = page.locator(".told").count() > 0
    with opened(chrome, DESK, colours="dark") as page:
        page.goto(house.at + "/place/tank-5/sheet")
        paper = page.pdf(prefer_css_page_size=True)
        found["paper: sides of a sheet"] = len(re.findall(rb"/Type\s*/Page[^s]", paper))
    return found


def twice_as_large(launch: Callable[[list[str]], Browser], house: House) -> int:
    """Pixels that a page is too wide where the telephone's letters are set to 200 %, at most."""
    chrome, wide = launch(["--no-sandbox", "--blink-settings=defaultFontSize=32"]), []
    with opened(chrome, PHONE) as page:
        for path in ("/", "/place/tank-5", "/round", "/rings", "/coolers/chiller-1", "/koji"):
            page.goto(house.at + path)
            wide.append(int(page.evaluate(TOO_WIDE)))
    chrome.close()
    return max(wide)


def main() -> None:
    reads = argparse.ArgumentParser(description=__doc__)
    reads.add_argument("--out", type=Path, default=RESULTS)
    out: Path = reads.parse_args().out
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    with sync_playwright() as play, tempfile.TemporaryDirectory() as home:

        def launch(args: list[str]) -> Browser:
            return play.chromium.launch(executable_path=program, args=args)

        chrome = launch(["--no-sandbox"])
        lived = {}
        for moment in (LATE, WARM):
            folder = Path(home) / moment[8:13]
            folder.mkdir()
            lived[moment] = Served.live(folder, until=moment)
        days = {}
        for (name, (moment, job)), (screen, size) in itertools.product(JOBS.items(), SIZES.items()):
            folder = Path(tempfile.mkdtemp(dir=home))
            with closing(lived[moment].twin(folder)) as watch:
                if job is maintenance:
                    watch.submit(Impaired("pages", True, watch.clock(), "no answer"))
                    watch.pass_time(1.0)
                house = serving(watch)
                with opened(chrome, size) as page:
                    job(house, page)
                    days[f"{name}, {screen}"] = TOLD.pop(page)
                house.pages.stop()
        print(json.dumps(days, indent=1, ensure_ascii=False), flush=True)
        with closing(lived[LATE].twin(Path(tempfile.mkdtemp(dir=home)))) as watch:
            house = serving(watch)
            seen = visits(chrome, house)
            print(json.dumps(seen, indent=1, ensure_ascii=False), flush=True)
            told = {"days": days, "visits": seen,
                    "troubles": troubles(chrome, house)}  # fmt: skip
            told["troubles"]["text at 200 %: pixels too wide"] = twice_as_large(launch, house)
            house.pages.stop()
        chrome.close()
    out.write_text(json.dumps(told, indent=1, ensure_ascii=False) + "\n", "utf-8")
    print(json.dumps(told, indent=1, ensure_ascii=False))


if __name__ == "__main__":
    main()
