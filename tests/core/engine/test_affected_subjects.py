"""Which subjects an entry can touch."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from kuraban.core.engine.affected_subjects import near, touched
from kuraban.core.facts import Logged
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.site import Place, Probe
from tests.core.house import DUSK, brewery
from tests.core.logged import at

TANK, OTHER = "tank-3", "tank-4"


def view() -> HouseView:
    return HouseView(HouseState(brewery(), DUSK))


def logged(subject: str, entry: str, minute: float = 1, **fields: Any) -> Logged:
    found = entry_from({"entry": entry, **fields}, subject, brewery(), at(minute), "page")
    assert isinstance(found, Logged), found
    return found


@pytest.mark.parametrize(("entry", "fields"), [("note", {"text": "frost"}), ("look", {}),
                                               ("sample", {"baume": 7.5})])  # fmt: skip
def test_what_changes_no_book_and_answers_no_alarm_touches_nothing(
    entry: str, fields: dict[str, Any]
) -> None:
    assert touched(view(), logged(TANK, entry, **fields)) == set()


@pytest.mark.parametrize(("entry", "fields"), [("stir", {}), ("acknowledge", {}),
                                               ("out-of-service", {})])  # fmt: skip
def test_an_entry_touches_its_tank_its_cooler_and_what_that_serves(
    entry: str, fields: dict[str, Any]
) -> None:
    found = touched(view(), logged(TANK, entry, **fields))
    assert found is not None
    assert {TANK, "t3-mid", "chiller-1", OTHER, "t4-mid", "watch"} <= found
    assert not found & {"bed-1", "b1-mid", "heater-1", "store"}


def test_a_moved_batch_touches_where_it_came_from_and_where_it_goes() -> None:
    found = touched(view(), logged(TANK, "move", to="moto-1"))
    assert found is not None and {TANK, "moto-1"} <= found


def test_a_probe_speaks_of_its_place_and_a_cooler_of_what_it_serves() -> None:
    assert {TANK, "chiller-1", OTHER} <= near(view(), {"t3-mid"})
    assert {TANK, OTHER, "t4-mid"} <= near(view(), {"chiller-1"})


def test_a_bed_touches_its_room_and_who_stands_there() -> None:
    house = brewery()
    room = Place(id="koji-room", kind="room", name="Koji room")
    beds = [msgspec.structs.replace(place, room=room.id) if place.kind == "koji-bed" else place
            for place in house.places]  # fmt: skip
    air = Probe(id="kr-air", of=room.id, measures="air")
    house = msgspec.structs.replace(house, places=(*beds, room), probes=(*house.probes, air))
    found = near(HouseView(HouseState(house, DUSK)), {"bed-1"})
    assert {"koji-room", "kr-air", *(bed.id for bed in beds if bed.room)} <= found


def test_who_takes_another_duty_may_concern_every_place() -> None:
    swap = {"from": "aki", "to": "dai", "day": "2026-02-03"}
    assert touched(view(), logged("watch", "duty-swap", **swap)) is None


def test_a_batch_that_is_logged_late_may_let_other_entries_fit() -> None:
    late = view()
    late.entry_log.add(logged(OTHER, "stir", minute=30))
    start = logged(TANK, "batch-start", minute=10, batch="12", course="mash")
    assert touched(late, start) is None
    late.entry_log.newest = start.at
    assert touched(late, start) is not None


def test_a_correction_folds_everything_anew() -> None:
    assert touched(view(), logged(TANK, "take-back", of="e1")) is None
