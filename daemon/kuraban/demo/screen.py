"""What a newcomer sees: what people do, what the watch says to itself, and every phone as a box.

One line an event with the night's own clock. A heavy frame is a phone that rings, a light one a
phone that stays silent. Colour only adds to the words; NO_COLOR and narrow windows are kept to.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, tzinfo

from rich import box
from rich.console import Console, Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from kuraban.core.effects import Message, Step, Turn
from kuraban.core.entries import StageMark, kind_of
from kuraban.core.facts import Logged
from kuraban.core.site import House
from kuraban.core.texts.translator import Words
from kuraban.demo.stage import Rung

WIDEST, WIDEST_TABLE = 84, 110
"""Columns; a wider window is left empty, so that lines stay short enough to read."""
DEEDS = {
    "stir": "{who} stirs {what}, logged: its probe may jump, and nobody is to be woken",
    "handwork": "{who} works {what} by hand, logged",
    "stage": "{who} logs {what}: {stage} begins",
    "probe-in": "{who} puts the probe back: {what}",
    "acknowledge": "{who} answers: I have it ({what})",
}
"""What people do in the night, by the entry they log; anything else is told by its own name."""
INNER = ("returned", "normal", "suppressed", "released")
"""Steps of an alarm that are worth a quiet line."""
TIMES = {1: "once", 2: "twice"}


class Story:
    """What came about in the night: steps, messages and work, for the summary at its end."""

    def __init__(self, house: House, words: Words) -> None:
        self.house = house
        self.words = words
        self.messages: list[Message] = []
        self.steps: list[Step] = []
        self.work: list[Logged] = []
        self.until = float("-inf")
        """The moment of the last turn that told something."""

    def take(self, turn: Turn) -> None:
        self.until = turn.now
        for event in turn.story:
            if isinstance(event, Step):
                self.steps.append(event)
            else:
                self.messages.append(event)

    def of(self, rung: Rung) -> Message | None:
        """The latest message that such a phone would show."""
        shown = rung.title or rung.body
        for message in reversed(self.messages):
            if message.person == rung.person and message.title == shown:
                return message
        return None

    def rings(self) -> dict[str, list[Message]]:
        """The messages that rang, by alarm, in the order of the first of each."""
        found: dict[str, list[Message]] = {}
        for message in self.messages:
            if message.step == "page":
                for alarm in message.alarms:
                    found.setdefault(alarm, []).append(message)
        return found

    def answered(self, alarm: str) -> Step | None:
        return next((s for s in self.steps if s.alarm == alarm and s.step == "acknowledged"), None)

    def quiet_alarms(self) -> list[Step]:
        """The first step of every alarm that was raised and rang nobody."""
        rung, found = self.rings(), dict[str, Step]()
        for step in self.steps:
            if step.step == "raised" and step.alarm not in rung:
                found.setdefault(step.alarm, step)
        return list(found.values())

    def name(self, alarm: str) -> str:
        """An alarm as people would say it: "Tank 5 warm"."""
        subject, _, condition = alarm.partition("/")
        words = self.words.catalogue["en"].get(f"{condition}.name", condition)
        return f"{self.house.name_of(subject)} {words}"

    def person(self, person: str | None) -> str:
        found = self.house.person.get(person or "")
        return found.name if found else person or "somebody"

    def deed(self, logged: Logged) -> str:
        """An entry as one plain sentence."""
        kind = kind_of(logged.entry)
        stage = logged.entry.stage if isinstance(logged.entry, StageMark) else ""
        return DEEDS.get(kind, "{who} logs {kind}: {what}").format(
            who=self.person(logged.by), what=self.house.name_of(logged.subject), kind=kind,
            stage=stage,
        )  # fmt: skip


class Screen:
    """Writes to `console`, times in `zone`."""

    def __init__(self, console: Console, zone: tzinfo, story: Story) -> None:
        self.console = console
        self.zone = zone
        self.story = story
        self.width = min(console.width, WIDEST)
        self.table_width = min(console.width, WIDEST_TABLE)

    def say(self, *lines: str, style: str = "") -> None:
        for line in lines:
            self.console.print(Text(line, style), width=self.width)

    def line(self, at: float, text: str, style: str = "") -> None:
        """One event: the night's clock, and what happens, wrapped beside it."""
        grid = Table.grid(padding=(0, 2, 0, 0))
        grid.add_row(Text(self._clock(at), "dim"), Text(text, style))
        self.console.print(grid, width=self.width)

    def work(self, logged: Logged) -> None:
        self.line(logged.at, self.story.deed(logged))

    def unseen(self, at: float, what: str) -> None:
        """Something that happens and that nobody notices."""
        self.line(at, f"(nobody sees it yet) {what}", "dim")

    def steps(self, turn: Turn) -> None:
        """What the watch notes without telling anybody."""
        rung = {
            alarm for event in turn.story if isinstance(event, Message) for alarm in event.alarms
        }
        for event in turn.story:
            if isinstance(event, Step):
                quiet = event.step == "raised" and event.alarm not in rung
                if quiet or event.step in INNER:
                    waits = ", noted and not rung" if quiet else ""
                    self.line(event.at, f"{event.text}{waits}", "dim")

    def phone(self, rung: Rung) -> None:
        """A message as the phone shows it."""
        message = self.story.of(rung)
        head = [f"{self.story.person(rung.person)}'s phone"]
        frame, style = box.ROUNDED, ""
        if message is not None:
            head += [message.role, _how(message)]
            head.insert(0, self._clock(message.at))
            if message.step == "page":
                frame = box.HEAVY
                style = "red" if message.urgency == "wake" else "yellow"
        title, body = (rung.title, rung.body) if rung.title else (rung.body, "")
        inside: list[RenderableType] = [Text(title, "bold")]
        if body:
            inside.append(Text(body))
        panel = Panel(
            Group(*inside), box=frame, border_style=style, title=Text("  ".join(head)),
            title_align="left", width=self.width,
        )  # fmt: skip
        self.console.print(panel)

    def summary(self, start: float, end: float) -> None:
        """Who was woken for what, and what rang nobody."""
        story = self.story
        self.say("")
        woken = self._table("The night is over. Who was rung, and for what:")
        for column in ("when", "who", "as", "what", "rung", "answered"):
            woken.add_column(column, overflow="fold")
        for alarm, pages in story.rings().items():
            woken.add_row(*self._ring(alarm, pages))
        self.console.print(woken, width=self.table_width)
        if not woken.rows:
            self.say("Nobody was woken.")
        quiet = self._table("What happened and rang nobody:")
        quiet.add_column("when")
        quiet.add_column("what", overflow="fold")
        for at, text in sorted(self._quiet(), key=lambda row: row[0]):
            quiet.add_row(self._clock(at), text)
        self.say("")
        self.console.print(quiet, width=self.table_width)

    def _ring(self, alarm: str, pages: list[Message]) -> Iterable[str]:
        first = pages[0]
        answer = self.story.answered(alarm)
        who = dict.fromkeys(self.story.person(page.person) for page in pages)
        yield self._clock(first.at)
        yield ", then ".join(who)
        yield first.role
        yield self.story.name(alarm)
        yield TIMES.get(len(pages), f"{len(pages)} times")
        yield "-" if answer is None else f"{self._clock(answer.at)} {self.story.person(answer.by)}"

    def _quiet(self) -> Iterable[tuple[float, str]]:
        for logged in self.story.work:
            if kind_of(logged.entry) != "acknowledge":
                yield logged.at, self.story.deed(logged).partition(", logged")[0]
        for step in self.story.quiet_alarms():
            yield step.at, f"{self.story.name(step.alarm)} ({step.urgency}), for the morning"

    def _table(self, title: str) -> Table:
        return Table(
            title=Text(title, "bold"), title_justify="left", box=box.SIMPLE, pad_edge=False,
            show_edge=False, header_style="dim",
        )  # fmt: skip

    def _clock(self, at: float) -> str:
        return f"{datetime.fromtimestamp(at, self.zone):%H:%M}"


def _how(message: Message) -> str:
    """Whether that phone rings, in one word or two."""
    if message.step == "notice":
        return "soundless"
    return "urgent, rings" if message.urgency == "wake" else "rings"
