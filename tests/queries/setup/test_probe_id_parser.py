"""What a probe's id says about where it hangs."""

from __future__ import annotations

import pytest

from kuraban.queries.setup.probe_id_parser import guess, guesses


@pytest.mark.parametrize(
    ("probe", "of", "kind", "measures"),
    [
        ("t3-mid", "tank-3", "tank", "product"),
        ("t3-valve", "tank-3", "tank", "valve"),
        ("tank-12-upper", "tank-12", "tank", "product"),
        ("st1-mid", "starter-1", "starter", "product"),
        ("kb1-a", "koji-bed-1", "koji-bed", "product"),
        ("kr-wet", "koji-room", "room", "wet-bulb"),
        ("cellar", "cellar", "room", "air"),
        ("store-air", "cold-store", "cold-store", "air"),
        ("ch2", "chiller-2", "chilled-water", "supply"),
        ("ch2-return", "chiller-2", "chilled-water", "return"),
        ("h1-power", "heater-1", "heater", "power"),
        ("x9-mid", "tank-x9", "tank", "product"),
        ("28-0000", "tank-28", "tank", "product"),
    ],
)
def test_a_guess_by_prefix(probe: str, of: str, kind: str, measures: str) -> None:
    found = guess(probe)
    assert (found.of, found.kind, found.measures) == (of, kind, measures)


def test_a_measure_that_does_not_fit_is_not_guessed() -> None:
    """A tank has no supply."""
    assert guess("t3-supply").measures == "product"


def test_places_and_probes_never_share_an_id() -> None:
    """What the device calls itself stays."""
    (found,) = guesses(["tank-3"])
    assert found.of == "place-tank-3"
