"""Words that ring nobody: who has it, what to confirm, what runs again, and reports to a role."""

from __future__ import annotations

from functools import partial

from kuraban.core import rota
from kuraban.core.alarm_conditions import BREWER, CONDITIONS, CREW, MAINTENANCE
from kuraban.core.alarms.life_cycle import Alarm
from kuraban.core.entries import kind_of
from kuraban.core.facts import Logged
from kuraban.core.house_view import HouseView
from kuraban.core.notify.incidents import Incident
from kuraban.core.notify.ladder import Call, called_on_duty
from kuraban.core.notify.message_writer import AsksOf, MessageWriter, TextOf
from kuraban.core.texts import messages
from kuraban.core.texts.messages import Then

MOVED = 0.3
"""K by which a mash moved while nobody watched, from which it is told."""


class Notices:
    def __init__(self, view: HouseView, writer: MessageWriter) -> None:
        self._view, self._writer = view, writer

    def to_role(self, role: str, at: float, text_of: TextOf, asks_of: AsksOf | None = None) -> None:
        """One notice to the first of a role, in their language; `asks_of` are rings to judge."""
        for holder in rota.chain(self._view.entry_log.manned, role, at)[:1]:
            call = Call(holder.person, role, 0)
            self._writer.notice(at, call, "log", text_of, asks_of=asks_of)

    def who_has_it(self, incident: Incident, alarm: Alarm, at: float) -> None:
        """To everybody who was told: they can sleep on."""
        house = self._view.house
        has_it = house.person_called(alarm.by)
        text_of = partial(
            messages.in_hand, self._writer.situation(alarm, at), house.called(alarm.by or ""),
            alarm.in_hand_until,
        )  # fmt: skip
        for person in incident.told:
            if person in house.person and (has_it is None or person != has_it.id):
                call = Call(person, incident.role, 0)
                self._writer.notice(at, call, "log", text_of, (alarm.id,))

    def joins(self, leader: Incident, alarm: Alarm, at: float) -> None:
        """To everybody who was rung for what leads its thread: this is of it too. It rings nobody,
        and stands in their next message."""
        text_of = partial(messages.page, self._writer.situation(alarm, at))
        for person in leader.rung_now:
            self._writer.notice(at, Call(person, leader.role, 0), "duty", text_of, (alarm.id,))

    def one_more_sign(self, incident: Incident, alarm: Alarm, at: float) -> None:
        """To whoever has the rest of the incident in hand: this is theirs too."""
        person = self._view.house.person_called(alarm.by)
        if person is not None:
            text_of = partial(messages.page, self._writer.situation(alarm, at))
            call = Call(person.id, incident.role, 0)
            self._writer.notice(at, call, "duty", text_of, (alarm.id,))

    def remark(self, subject: str, what: str, value: float, at: float) -> None:
        """Something worth a word to the crew, in duty hours or to whoever is awake."""
        condition = CONDITIONS["stage-overdue"]._replace(role=CREW)
        alarm = Alarm(subject, what)
        alarm.value, alarm.evidence = value, (f"gap={value:.1f}",)
        text_of = partial(messages.page, self._writer.situation(alarm, at))
        for call in called_on_duty(self._view.entry_log.manned, condition, at):
            self._writer.notice(at, call, "duty", text_of)

    def ask(self, logged: Logged, at: float) -> None:
        """Ask the brewer to confirm an entry that waits for a second person."""
        alarm = Alarm(logged.subject, "entry-doubtful")
        alarm.evidence = (f"entry={kind_of(logged.entry)}",)
        self.to_role(BREWER, at, partial(messages.page, self._writer.situation(alarm, at)))

    def unwatched(
        self, place: str, entry: Logged, hands: tuple[str | None, ...], at: float
    ) -> None:
        """Tell the brewer of a batch that is not judged any more where it was."""
        judged = self._view.batch(place, at) is not None and self._view.in_service(place)
        self._to_brewer("another-batch" if judged else "watched-no-more", place, entry, hands, at)

    def watched_less(
        self, place: str, entry: Logged, hands: tuple[str | None, ...], at: float
    ) -> None:
        """Tell the brewer of a batch that is judged on, and might go wrong unheard."""
        self._to_brewer("watched-less", place, entry, hands, at)

    def _to_brewer(
        self, what: str, place: str, entry: Logged, hands: tuple[str | None, ...], at: float
    ) -> None:
        """`hands` are those who did it, and whoever of them is the brewer knows."""
        view = self._view
        known = {person.id for person in map(view.house.person_called, hands) if person is not None}
        if known & {one.person for one in rota.chain(view.entry_log.manned, BREWER, at)[:1]}:
            return
        alarm = Alarm(place, what)
        maker = "" if hands[0] is None else view.house.called(hands[0])
        alarm.evidence = (f"entry={kind_of(entry.entry)}", f"maker={maker}")
        self.to_role(BREWER, at, partial(messages.page, self._writer.situation(alarm, at)))

    def back_again(self, since: float, until: float, at: float) -> None:
        """Nothing was seen from `since` to `until`: what runs again, and what moved meanwhile."""
        view = self._view
        running = tuple(
            (cooler.name, view.signal(cooler.id, at, "running"))
            for cooler in view.house.coolers
            if view.cooler_judged(cooler.id, at)
        )
        koji, moved = self._moved(since, at)
        text_of = partial(messages.power_back, since, until, running, koji, moved)
        self.to_role(MAINTENANCE, at, text_of)
        self.to_role(BREWER, at, text_of)

    def _moved(self, since: float, at: float) -> tuple[tuple[Then, ...], tuple[Then, ...]]:
        """Every judged koji bed, and the mashes that moved, as they were then and are now."""
        koji: list[Then] = []
        moved: list[Then] = []
        for place in self._view.house.places:
            state = self._view.places[place.id]
            if not place.brews or not self._view.place_judged(place.id, at) or state.value is None:
                continue
            then = state.series.before(since)
            if place.kind == "koji-bed":
                koji.append((place.name, then, state.value))
            elif then is not None and abs(state.value - then) > MOVED:
                moved.append((place.name, then, state.value))
        return tuple(koji), tuple(moved)
