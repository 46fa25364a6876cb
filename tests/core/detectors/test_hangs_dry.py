"""A probe above the mash measures air: it is listed and not believed, until it is wet."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.notify.reports import not_watched
from kuraban.core.site import Probe
from tests.core.detectors.kit import AIR, CELLAR, MID, TANK, Night, course, house, stage

COURSE = course(stage("soe", 12.0, hours=48), stage("tome", 8.0, hours=48), stage())
HIGH = msgspec.structs.replace(MID, dry_below=900.0)
LOW = Probe(id="low", of="tank", measures="product")


def night(*probes: Probe) -> Night:
    n = Night(house(TANK, CELLAR, AIR, *probes, courses=(COURSE,)))
    n.batch(since=0)
    return n


def product(n: Night) -> float | None:
    found = n.view.product("tank", n.start + 60 * n.minute)
    return None if found is None else found[0]


def test_a_probe_right_for_tome_hangs_dry_at_soe() -> None:
    """400 L in a tank whose probe needs 900."""
    n = night(HIGH)
    n.log("tank", "addition", what="water-koji", litres=400)
    n.play(90, mid=5.0, air=5.0)
    assert product(n) is None
    assert not n.alarms()
    assert ("Tank 3", "hangs-dry") in not_watched(n.view, n.start + 60 * n.minute)


def test_what_nobody_can_watch_wakes_as_ever() -> None:
    """After two hours, once the work at the tank is over: somebody must measure by hand."""
    n = night(HIGH)
    n.log("tank", "addition", what="water-koji", litres=400)
    n.play(200, mid=5.0, air=5.0)
    assert "tank/unwatched" in n.alarms()


def test_it_is_believed_once_it_is_under_the_surface() -> None:
    """From a quarter of an hour on, when it has taken the mash's temperature."""
    n = night(HIGH)
    n.log("tank", "addition", what="water-koji", litres=400)
    n.play(60, mid=5.0, air=5.0)
    n.log("tank", "addition", what="water", litres=600)
    n.play(70, mid=11.8, air=5.0)
    assert product(n) is None
    n.play(80, mid=11.8, air=5.0)
    assert product(n) == pytest.approx(11.8)
    n.play(300, mid=11.8, air=5.0)
    assert not n.alarms()


def test_the_lower_probe_goes_on_alone() -> None:
    n = night(HIGH, LOW)
    n.log("tank", "addition", what="water-koji", litres=400)
    n.play(240, mid=5.0, low=12.0, air=5.0)
    assert product(n) == 12.0
    assert not n.alarms() - {"mid/silent"}
    assert not_watched(n.view, n.start + 60 * n.minute) == ()


def test_where_litres_are_unknown_it_is_believed() -> None:
    """An addition without figures; a probe without the key."""
    n = night(HIGH)
    n.log("tank", "addition", what="water-koji")
    n.play(60, mid=12.0, air=5.0)
    assert product(n) == 12.0
    n = night(MID)
    n.log("tank", "addition", what="water-koji", litres=400)
    n.play(60, mid=12.0, air=5.0)
    assert product(n) == 12.0
