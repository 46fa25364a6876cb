"""What a newcomer sees of the night."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from rich.cells import cell_len
from rich.console import Console

from kuraban.core.effects import Message, Step, Turn
from kuraban.core.entries import Acknowledge, StageMark, Stir
from kuraban.core.facts import Logged
from kuraban.demo.screen import Screen, Story
from kuraban.demo.stage import Rung
from kuraban.settings import load
from kuraban.settings.catalogues import load_words

SITE = Path(__file__).parents[2] / "fixtures" / "brewery" / "site.toml"
HOUSE, WORDS = load(SITE, {}).house, load_words()
AT = 1770129492.0
CLOCK = "23:38"
TITLE = "Tank 5 warm +0.6: 10.9 °C (plan 10.3), limit in about 2 h"


def page(person: str = "aki", **other: object) -> Message:
    told: dict[str, object] = {
        "id": "1", "at": AT, "step": "page", "role": "brewer", "person": person,
        "urgency": "wake", "title": TITLE, "body": "First: display, valve, chiller.",
        "alarms": ("tank-5/warm",),
    }  # fmt: skip
    return Message(**{**told, **other})  # type: ignore[arg-type]


def step(name: str, alarm: str = "tank-5/warm", text: str = "", **other: object) -> Step:
    subject, _, condition = alarm.partition("/")
    told = {"at": AT, "urgency": "wake", "text": text or f"{alarm} {name}", **other}
    return Step(subject=subject, condition=condition, step=name, **told)  # type: ignore[arg-type]


class Seen:
    """A screen of `width` columns, and what stands on it."""

    def __init__(self, width: int = 84, **terminal: bool) -> None:
        self.file = io.StringIO()
        self.story = Story(HOUSE, WORDS)
        console = Console(file=self.file, width=width, highlight=False, **terminal)  # type: ignore[arg-type]
        self.screen = Screen(console, HOUSE.zone, self.story)

    def turn(self, *events: Step | Message) -> None:
        turn = Turn(now=AT, story=list(events))
        self.story.take(turn)
        self.screen.steps(turn)

    @property
    def text(self) -> str:
        return self.file.getvalue()


def night(seen: Seen) -> None:
    """Something of everything."""
    seen.screen.unseen(AT, "Tank 5: valve stuck shut")
    for entry in (Stir(), Acknowledge(condition="warm"), StageMark(stage="shimai")):
        logged = Logged("1", "tank-5", entry, AT, AT, "mio")
        seen.story.work.append(logged)
        seen.screen.work(logged)
    seen.turn(step("raised"), page(), page("sho"))
    seen.turn(
        step("raised", "tank-1/trending-warm", urgency="duty"), step("acknowledged", by="aki")
    )
    seen.screen.phone(Rung("aki", TITLE, "First: display, valve, chiller."))
    seen.screen.phone(
        Rung(
            "aki", "5号タンク 品温高め+0.6 10.9℃(予定10.3)上限まで約2時間", "まず表示・弁・チラー。"
        )
    )
    seen.screen.summary(AT, AT)


def test_a_phone_shows_who_is_rung_and_how() -> None:
    """The first line is the one that decides, and a heavy frame is a phone that rings."""
    seen = Seen()
    seen.turn(page())
    seen.screen.phone(Rung("aki", TITLE, "First: display, valve, chiller."))
    head, title, body, _ = seen.text.splitlines()
    assert f"{CLOCK}  Aki's phone  brewer  urgent, rings" in head
    assert head.startswith("┏") and TITLE in title and "First: display" in body


def test_a_soundless_word_has_a_light_frame() -> None:
    seen = Seen()
    seen.turn(page(step="notice", urgency="log", alarms=()))
    seen.screen.phone(Rung("aki", TITLE, "First: display, valve, chiller."))
    assert seen.text.startswith("╭") and "soundless" in seen.text


def test_a_phone_that_nobody_wrote_to_is_shown_all_the_same() -> None:
    seen = Seen()
    seen.screen.phone(Rung("ken", "", "only a body"))
    assert "Ken's phone" in seen.text and "only a body" in seen.text


def test_what_rings_nobody_is_a_quiet_line() -> None:
    seen = Seen()
    seen.turn(step("raised", "tank-1/trending-warm", "Tank 1 on its way up", urgency="duty"))
    assert "Tank 1 on its way up, noted and not rung" in seen.text


def test_what_rings_has_its_box_and_no_second_line() -> None:
    seen = Seen()
    seen.turn(step("raised"), page())
    assert seen.text == ""


def test_a_stir_says_that_nobody_is_to_be_woken() -> None:
    seen = Seen()
    seen.screen.work(Logged("1", "tank-1", Stir(), AT, AT, "mio"))
    assert seen.text.startswith(f"{CLOCK}  Mio stirs Tank 1")
    assert "nobody is to be woken" in seen.text


def test_the_summary_says_who_was_rung_for_what() -> None:
    """One line an incident, however often and however many were rung for it."""
    seen = Seen()
    night(seen)
    rung, _, quiet = seen.text.partition("Who was rung")[2].partition("rang nobody")
    line = next(line for line in rung.splitlines() if "Tank 5 warm" in line)
    assert line.split() == [
        CLOCK, "Aki,", "then", "Sho", "brewer", "Tank", "5", "warm", "twice", CLOCK, "Aki",
    ]  # fmt: skip
    assert "Mio stirs Tank 5" in quiet and "Tank 1 on its way up (duty)" in quiet
    assert "I have it" not in quiet


def test_a_quiet_night_says_that_nobody_was_woken() -> None:
    seen = Seen()
    seen.screen.summary(AT, AT)
    assert "Nobody was woken." in seen.text


@pytest.mark.parametrize("width", [40, 60, 200])
def test_nothing_runs_over_the_edge_of_the_window(width: int) -> None:
    seen = Seen(width)
    night(seen)
    assert max(cell_len(line) for line in seen.text.splitlines()) <= min(width, 110)


def test_no_color_is_kept_to(monkeypatch: pytest.MonkeyPatch) -> None:
    """Bold and dim may stay; no colour does."""
    monkeypatch.delenv("NO_COLOR", raising=False)
    coloured = Seen(force_terminal=True)
    night(coloured)
    assert "\x1b[31m" in coloured.text
    monkeypatch.setenv("NO_COLOR", "1")
    plain = Seen(force_terminal=True)
    night(plain)
    assert "\x1b[31m" not in plain.text and "\x1b[33m" not in plain.text
