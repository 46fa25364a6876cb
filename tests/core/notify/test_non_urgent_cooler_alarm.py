"""A cooler that fails while its tanks have many hours lets everybody sleep, for as long as they do.

The figures are the contract's: more than eight hours, and rings when less than six are left.
"""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.deadlines import HoursInHand
from kuraban.core.detectors.base import Finding
from kuraban.core.forecast.time_to_limit import hours_in_hand
from kuraban.core.notify.non_urgent_cooler_alarm import lets_sleep, lets_sleep_on
from kuraban.core.site import Cooler, Place, Probe
from kuraban.core.units import HOUR, MINUTE
from tests.core.detectors.kit import AIR, CELLAR, MID, Night, house, noisy, saw

CHILLER = Cooler(id="chiller", kind="chilled-water", name="Chiller 1", rated_watts=1500)
COOLED = Place(id="tank", kind="tank", name="Tank 3", room="cellar", litres=1400, cooler="chiller")
VALVE = Probe(id="valve", of="tank", measures="valve", every=300)
RUNNING = Probe(id="running", of="chiller", measures="running", every=300)
STOPS = 720


@pytest.mark.parametrize(
    ("hours", "soundless"), [(8.01, True), (8.0, False), (7.99, False), (48.0, True), (None, False)]
)
def test_more_than_eight_hours_in_hand_ring_nobody(hours: float | None, soundless: bool) -> None:
    assert lets_sleep(hours) is soundless


@pytest.mark.parametrize(
    ("hours", "sleep_on"), [(6.0, True), (5.99, False), (7.0, True), (0.0, False), (None, False)]
)
def test_less_than_six_hours_left_ring(hours: float | None, sleep_on: bool) -> None:
    assert lets_sleep_on(hours) is sleep_on


def stopping(an_hour: float = 0.035, tank: Place = COOLED, *more: Cooler) -> Night:
    """Half a day of ordinary cooling, before the chiller stops at the turn of minute 720."""
    night = Night(house(tank, CELLAR, CHILLER, *more, MID, AIR, VALVE, RUNNING))
    night.batch()
    return night.play(
        STOPS, mid=noisy(saw(9.9, an_hour * 1.6, 120.0)), air=8.0,
        valve=lambda minute: 0.0 if (minute % 120) < 96 else 1.0, running=1.0,
    )  # fmt: skip


def go_on(night: Night, minutes: float, an_hour: float = 0.035) -> Night:
    """The valve calls, the chiller is silent and the tank warms."""
    last = saw(9.9, an_hour * 1.6, 120.0)(STOPS - 1)
    return night.play(
        night.minute + minutes, mid=lambda minute: last + an_hour * (minute - STOPS) / 60,
        air=8.0, valve=1.0, running=0.0,
    )  # fmt: skip


def now(night: Night) -> float:
    return night.start + night.minute * MINUTE


def test_it_rings_at_the_first_look_that_finds_less_than_six_hours() -> None:
    """Looked at every ten minutes after it was told."""
    night = stopping()
    while not night.messages("chiller/stopped"):
        go_on(night, 1)
    (told,) = night.messages("chiller/stopped")
    assert told.step == "notice" and (told.person, told.rung) == ("ken", 0)
    looks = [
        one.at for one in night.engine.deadlines.items if isinstance(one.deadline, HoursInHand)
    ]
    assert looks == [told.at + 10 * MINUTE]
    while not night.pages("chiller/stopped"):
        go_on(night, 1)
        hours = hours_in_hand(night.view, "chiller", now(night))
        looked = (now(night) - told.at) % (10 * MINUTE) == 0
        assert bool(night.pages("chiller/stopped")) is (looked and (hours or 0.0) < 6.0)
    assert now(night) - told.at > HOUR


def test_it_climbs_from_the_first_rung_once_it_rings() -> None:
    night = stopping()
    go_on(night, 700)
    pages = night.pages("chiller/stopped")
    first = pages[0].at
    minutes = [(page.at - first) / MINUTE for page in pages if page.person == "ken"]
    assert minutes[:5] == [0, 10, 30, 60, 120]


def test_it_rings_nobody_once_somebody_has_it_in_hand() -> None:
    night = stopping()
    go_on(night, 30)
    assert [message.step for message in night.messages("chiller/stopped")] == ["notice"]
    night.log("chiller", "acknowledge", by="ken", within="12h")
    go_on(night, 600)
    assert not night.pages("chiller/stopped")


def test_it_rings_at_once_when_the_hours_are_not_known_any_more() -> None:
    """Nobody knows how warm the tank is: its probe is out of it."""
    night = stopping()
    go_on(night, 30)
    night.log("tank", "probe-out")
    go_on(night, 10)
    assert len(night.pages("chiller/stopped")) == 1


def test_a_heater_is_never_soundless() -> None:
    """How long a tank takes to warm says nothing of how long it takes to cool."""
    heater = Cooler(id="heater", kind="heater", name="Heater")
    heated = msgspec.structs.replace(COOLED, heater="heater")
    night = go_on(stopping(0.02, heated, heater), 40, 0.02)
    assert hours(night) > 8 and hours_in_hand(night.view, "heater", now(night)) == hours(night)
    found = Finding("heater", "not-heating", True, now(night))
    night.engine.watched.conclusions.take(found)
    night.listen()
    assert len(night.pages("heater/not-heating")) == 1


def warms_too(night: Night) -> None:
    """A second sign of the same failing is found now."""
    finding = Finding("chiller", "warming", True, now(night))
    night.engine.watched.conclusions.take(finding)
    night.listen()


def hours(night: Night) -> float:
    found = hours_in_hand(night.view, "chiller", now(night))
    assert found is not None
    return found


def test_a_second_sign_while_there_are_many_hours_makes_no_sound() -> None:
    night = go_on(stopping(0.02), 40, 0.02)
    assert hours(night) > 8
    warms_too(night)
    assert not night.pages("chiller/stopped") and not night.pages("chiller/warming")


def test_a_second_sign_when_there_are_fewer_than_eight_rings_and_is_not_rung_anew_at_six() -> None:
    """What rings already goes on by its own ladder."""
    night = go_on(stopping(), 40)
    while hours(night) > 7.5:
        go_on(night, 10)
    assert not night.pages("chiller/stopped")
    warms_too(night)
    began = now(night)
    while hours(night) > 4:
        go_on(night, 10)
    assert now(night) - began > 2 * HOUR
    pages = [page for page in night.messages() if page.step == "page" and page.person == "ken"]
    assert [(page.at - began) / MINUTE for page in pages][:5] == [0, 10, 30, 60, 120]
