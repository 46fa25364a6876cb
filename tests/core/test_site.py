"""The house as the watch knows it."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.site import BREWING, Place, Probe, from_document, to_document
from kuraban.core.units import MINUTE
from tests.core.house import TOKYO, brewery

HOUSE = brewery()


def test_a_house_comes_back_from_the_journal_as_it_was() -> None:
    assert from_document(to_document(HOUSE)) == HOUSE


def test_what_is_no_house_is_refused() -> None:
    with pytest.raises(msgspec.ValidationError):
        from_document('{"site": {"name": "x"}}')


def test_things_are_called_by_the_names_that_people_use() -> None:
    assert HOUSE.name_of("tank-3") == "Tank 3" and HOUSE.name_of("chiller-1") == "Chiller 1"
    assert HOUSE.name_of("t3-mid") == "Tank 3 (t3-mid)"
    assert HOUSE.name_of("watch") == "Nowhere demo brewery"
    assert HOUSE.name_of("gone") == "gone", "what has left the house keeps at least its id"


def test_a_person_is_known_by_id_and_by_name() -> None:
    """Whoever wrote another name keeps it; the house knows no such person."""
    for who in ("aki", "Aki"):
        person = HOUSE.person_called(who)
        assert person is not None and person.id == "aki" and HOUSE.called(who) == "Aki"
    assert HOUSE.person_called("Grandmother") is HOUSE.person_called(None) is None
    assert HOUSE.called("Grandmother") == "Grandmother"


def test_the_probes_of_a_place_by_what_they_measure() -> None:
    assert [probe.id for probe in HOUSE.probes_of("tank-3")] == ["t3-mid"]
    assert HOUSE.probes_of("tank-3", "air", "supply") == ()


@pytest.mark.parametrize(("every", "minutes"), [(10, 10), (60, 10), (90, 15), (600, 100)])
def test_a_probe_is_silent_by_its_own_rhythm(every: float, minutes: float) -> None:
    """Ten times its interval, and ten minutes at least."""
    assert Probe(id="p", of="x", measures="air", every=every).silent_after == minutes * MINUTE


def test_a_batch_runs_in_tanks_starters_and_koji_beds() -> None:
    kinds = ("tank", "starter", "koji-bed", "room", "cold-store", "water")
    assert {k for k in kinds if Place(id="x", kind=k, name="x").brews} == BREWING


def test_the_site_knows_its_clock() -> None:
    assert HOUSE.zone == TOKYO and not HOUSE.cooler["chiller-1"].heats
    assert HOUSE.cooler["heater-1"].heats
