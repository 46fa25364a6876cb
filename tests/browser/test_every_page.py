"""Every page there is, and forms that come back: phone and desk, both languages, day and night."""

from __future__ import annotations

import httpx
import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

from kuraban.edges.signing import Signer
from tests.browser.conftest import DESK, KEY, PHONE, House, Open
from tests.edges.web import every

LEAST = 48
"""CSS pixels: what a wet thumb hits."""
Screens = dict[tuple[int, int], str]
"""Sizes of a window, and the colours in which the page is looked at there."""
WAYS = pytest.mark.parametrize(
    ("language", "screens"),
    [("en", {PHONE: "light", DESK: "dark"}), ("ja", {PHONE: "dark", DESK: "light"})],
    ids=["en", "ja"],
)
"""Every two of screen, language and colours together. The watch sends the same page to each screen,
so that one visit is looked at on both."""
ERRING: dict[str, tuple[str, dict[str, str]]] = {
    "no number": ("/log/tank-3", {"entry": "check", "form": "check", "celsius": "1o.2"}),
    "hardly so": ("/log/tank-3", {"entry": "check", "form": "check", "celsius": "99"}),
    "began already": ("/log/tank-1", {"entry": "stage", "stage": "moromi"}),
    "too long": ("/log/chiller-1", {"entry": "shelve", "condition": "stopped", "for": "13h",
                                    "reason": "repair"}),
    "runs already": ("/batches/start", {"place": "tank-3", "course": "moromi-slow-33",
                                        "batch": "16"}),
    "unread": ("/batches/start", {"place": "starter-1", "course": "starter-sokujo-14",
                                  "rice_kg": "much"}),
    "no such stage": ("/batches/start", {"place": "starter-1", "course": "starter-sokujo-14",
                                         "batch": "No. 9", "stage": "soe"}),
    "ended before": ("/batches/end/tank-3", {"at": "2020-01-01T10:00"}),
    "no sample": ("/place/tank-3/sample", {"baume": "heavy"}),
    "no such mash": ("/place/tank-3/sample", {"alcohol": "29"}),
    "no plan": ("/place/tank-3/plan", {"do": "keep", "t1770238800": "warm"}),
    "empty plan": ("/place/tank-3/plan", {"do": "keep"}),
    "asked plan": ("/place/tank-3/plan", {"do": "keep", "t1770238800": "30"}),
    "wrong word": ("/login", {"name": "aki", "password": "rice"}),
    "nowhere": ("/log/nowhere", {"entry": "stir"}),
}  # fmt: skip
"""Forms that come back: where they are sent, and what somebody put into them."""
WHOLE = {"began already", "too long", "no such mash", "asked plan", "nowhere"}
"""Of these what is said is about no field, or is a question with its button."""
BESIDE = """() => { const one = document.activeElement, by = one.getAttribute('aria-describedby');
    return one.matches('[aria-invalid=true]') && document.getElementById(by).innerText > ''; }"""
AXE = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"], "resultTypes": ["violations"],
    "preload": False,
}  # fmt: skip
"""What it looks for; what passes need not be listed, and no style lies elsewhere to be fetched."""
SEND = """([to, fields]) => {
  const form = Object.assign(document.createElement('form'), { method: 'post', action: to });
  fields.token = document.querySelector('meta[name=token]').content;
  for (const [name, value] of Object.entries(fields))
    form.append(Object.assign(document.createElement('input'), { name, value }));
  document.body.append(form);
  form.submit();
}"""

SMALL = """least => [...document.querySelectorAll(
    'button, input:not([type=hidden]), select, textarea, summary, nav a, a.button')]
  .filter(e => e.checkVisibility())
  .map(e => [e.closest('label') && e.matches('[type=checkbox],[type=radio]')
             ? e.closest('label') : e, e])
  .map(([box, e]) => [box.getBoundingClientRect(), e])
  .filter(([box]) => box.height < least - 0.5 || box.width < least - 0.5)
  .map(([box, e]) => `${e.outerHTML.slice(0, 90)} ${box.width}x${box.height}`)"""

WALK = """() => { const walked = window.walked = []; addEventListener('keyup', () => {
    const one = document.activeElement;
    if (one.matches('body, .drawing, [type=radio]') || walked.at(-1)?.[0] === one) return;
    const box = one.getBoundingClientRect();
    const { outlineStyle, outlineWidth } = getComputedStyle(one);
    walked.push([one, outlineStyle !== 'none' && parseFloat(outlineWidth) >= 2
                      && box.top < innerHeight && box.bottom > 0]); }); }"""
REACH = "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']"
WALKED = """wanted => { const every = [...document.querySelectorAll(wanted)]
    .filter(e => e.checkVisibility() && !e.disabled && !e.matches('.drawing, [type=radio]'));
  const there = window.walked.slice(0, every.length);
  every.unshift(...every.splice(every.indexOf(there[0]?.[0]))); // a field may have the focus
  return every.filter((e, n) => !there[n] || there[n][0] !== e || !there[n][1])
    .map(e => e.outerHTML.slice(0, 90)); }"""


@pytest.fixture(scope="module")
def addresses(lived: House) -> list[str]:
    """Every page, some of its places, and what cannot be found."""
    with httpx.Client(base_url=lived.at, follow_redirects=True, timeout=60) as client:

        def there(address: str) -> bool:
            answer = client.get(address)
            return answer.status_code == 200 and "text/html" in answer.headers["content-type"]

        found = every.addresses(lived.watch, KEY, there)
    lacking = [shape for shape, known in found.items() if not known]
    assert not lacking, f"nobody looks at {lacking}; say in tests/edges/web/every.py where one is"
    assert len(found) >= 19
    return [lived.at + address for known in found.values() for address in known]


def faults_of(page: Page) -> dict[str, list[str]]:
    """What axe-core finds serious (WCAG 2.2 AA): contrast, names, order, language."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    violations = page.evaluate("asked => axe.run(asked).then(found => found.violations)", AXE)
    return {
        one["id"]: [node["html"][:160] for node in one["nodes"][:3]]
        for one in violations
        if one["impact"] in ("serious", "critical")
    }


def faults_on(page: Page, screens: Screens) -> list[object]:
    """What is wrong with a page on each of the screens; it is left as it is on the last one."""
    found: list[object] = []
    for (width, height), colours in screens.items():
        page.set_viewport_size({"width": width, "height": height})
        page.emulate_media(color_scheme=colours)  # type: ignore[arg-type]
        wrong = [*faults_of(page).items(), *unfit(page, (width, height))]
        found += [(f"{width} px wide, {colours}", one) for one in wrong]
    return found


def unfit(page: Page, size: tuple[int, int]) -> list[str]:
    """What is wider than the screen, or on a phone too small for a thumb."""
    wide = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    small = page.evaluate(SMALL, LEAST) if size == PHONE else []
    return [*([f"{wide} px too wide"] if wide > 0 else []), *small]


@WAYS
def test_every_page_can_be_read_and_fits_its_screen_and_a_thumb_its_buttons(
    addresses: list[str], open_: Open, language: str, screens: Screens
) -> None:
    """By day and by night, by whoever cannot see well (axe-core finds nothing serious), and, on a
    phone, without script."""
    page = open_(addresses[0], PHONE, language)
    plain = open_(addresses[0], PHONE, language, script=False)
    faults = {}
    for address in addresses:
        page.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
        page.goto(address)
        words = len(page.inner_text("main"))
        found = faults_on(page, screens)
        if page.get_attribute("html", "lang") != (_persons(address) or language):
            found.append("in another language")
        if _words(plain, address) < 0.8 * words:
            found.append("without script most of it is not there")
        faults[address] = found
    assert not any(faults.values()), {k: v for k, v in faults.items() if v}


def test_every_page_is_walked_by_the_keyboard_alone(addresses: list[str], open_: Open) -> None:
    """The tabulator comes to all that can be pressed or typed into, in the order of the page, and
    where one is can be seen."""
    page = open_(addresses[0], DESK)
    faults = {}
    for address in addresses:
        page.goto(address)
        page.evaluate(WALK)
        within = page.locator("[type=datetime-local]").count() * 6  # day, month, year ...
        for _ in range(page.locator(REACH).count() + within + 2):
            page.keyboard.press("Tab")
        faults[address] = page.evaluate(WALKED, REACH)
    assert not any(faults.values()), {k: v for k, v in faults.items() if v}


def _persons(address: str) -> str | None:
    """A link in a message speaks the language of its person; the first of ours goes to Aki."""
    if "/a/" not in address:
        return None
    link = Signer(KEY).read_link(address.rpartition("/")[2])
    assert link is not None
    return "ja" if link.person == "aki" else "en"


@WAYS
def test_a_form_that_comes_back_can_be_read_and_pressed(
    lived: House, open_: Open, language: str, screens: Screens
) -> None:
    """Where a person erred, the page is as good as any, and the focus is on the field that is
    wrong, with what is wrong beside it."""
    page = open_(lived.at + "/setup", PHONE, language)
    faults = {}
    for name, (to, fields) in ERRING.items():
        with page.expect_navigation():
            page.evaluate(SEND, [to, fields])
        assert page.locator("[role=alert]").count() > 0, name
        assert page.get_attribute("html", "lang") == language, name
        assert page.evaluate(BESIDE) == (name not in WHOLE), name
        faults[name] = faults_on(page, screens)
    assert not any(faults.values()), {k: v for k, v in faults.items() if v}


def _words(page: Page, address: str) -> int:
    page.goto(address)
    return len(page.inner_text("main"))
