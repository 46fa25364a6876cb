"""What may lie in a kept state: our own things and a few of Python's, by name."""

from __future__ import annotations

import msgspec
import pytest

from kuraban.core.alarms.life_cycle import Alarm
from kuraban.core.detectors.silent import Silent
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import HouseChanged
from kuraban.core.probes.probe_state import PlaceState
from kuraban.core.site import Place, to_document
from kuraban.runtime.checkpoint.kept_classes import (
    WIRES,
    NoGraph,
    classes,
    holds,
    laid,
    made_whole,
    name_of,
    slots_of,
    wire_of,
)
from tests.core.house import brewery, words


def test_only_what_the_core_and_the_trade_define_is_kept() -> None:
    """No error, no catalogue, nothing that merely came in by an import."""
    rooms = {name.split(".")[1] for name in classes()}
    assert rooms == {"core", "trade"}
    assert all(name == name_of(kind) for name, kind in classes().items())
    assert not any(issubclass(kind, BaseException) for kind in classes().values())
    assert "kuraban.core.texts.translator.Words" not in classes()


def test_to_make_one_runs_no_code_of_its_own() -> None:
    """Nothing hooks into being made, filled or thrown away."""
    ours = classes().values()
    for name, kind in classes().items():
        hooks = ("__del__", "__post_init__") if made_whole(kind) else ("__del__", "__new__")
        found = [h for one in kind.__mro__ if one in ours for h in hooks if h in one.__dict__]
        assert not found, f"{name} has {found}"


def test_a_value_lies_where_values_lie_and_nowhere_else() -> None:
    assert holds(Alarm, "state") and holds(Engine, "now") and holds(Silent, "judged_since")
    strange = ("apply", "stands", "__class__", "__dict__", "a b", "")
    assert not any(holds(Alarm, name) for name in strange)


def test_slots_of_the_parents_come_first() -> None:
    assert slots_of(Silent)[:4] == ("due", "subject", "tell", "view")
    assert "products" in slots_of(PlaceState)


def test_what_never_changes_is_made_whole() -> None:
    assert made_whole(Place) and not made_whole(PlaceState) and issubclass(Place, msgspec.Struct)


def test_a_wire_leads_from_name_to_method_and_back() -> None:
    """The findings of a running engine go by one; no other method is kept, at no other end."""
    engine = Engine(words())
    engine.take(HouseChanged(1e9, to_document(brewery())))
    conclusions = engine.watched.conclusions
    assert set(WIRES) == {"conclusions", "facts"}
    assert wire_of(conclusions.take) == "conclusions"
    assert laid("conclusions", conclusions) == conclusions.take
    for name, end in (("conclusions", engine), ("os", engine), (["facts"], engine), (1, engine)):
        with pytest.raises((NoGraph, TypeError)):
            laid(name, end)
    with pytest.raises(NoGraph, match="none of the wires"):
        wire_of(engine.wake)
