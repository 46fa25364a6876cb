"""What corrections leave of the entries that they name."""

from __future__ import annotations

import pytest

from kuraban.core import entries as e
from kuraban.core.facts import Logged
from kuraban.core.plan.entry_corrections import Corrected, Key, corrected, root
from kuraban.core.plan.subject_state import Refused

ICE = Logged("ice", "tank-3", e.Addition(what="ice", kg=20), 0.0, 0.0)


class Said:
    """Entries in the order in which they were told."""

    def __init__(self) -> None:
        self.log = [ICE]
        self.named: dict[Key, Logged] = {}

    def back(self, of: Logged, at: float = 0.0) -> Logged:
        return self._told(e.TakeBack(of=of.id), of, at)

    def amend(self, of: Logged, at: float = 0.0, **fields: object) -> Logged:
        return self._told(e.Amend(of=of.id, fields=fields), of, at)

    def _told(self, entry: e.Entry, of: Logged, at: float) -> Logged:
        logged = Logged(f"c{len(self.log)}", "tank-3", entry, at, 0.0)
        self.log.append(logged)
        self.named[logged.key] = of
        return logged

    def worked_out(self) -> Corrected:
        log = sorted(self.log, key=lambda one: one.at)
        return corrected(log, self.named)

    def kilograms(self) -> float | None:
        """Of the ice, as it counts; None where it does not."""
        found = self.worked_out()
        if ICE.key in found.taken_back:
            return None
        entry = found.amended[ICE.key].entry.entry if ICE.key in found.amended else ICE.entry
        assert isinstance(entry, e.Addition)
        return entry.kg


def test_each_take_back_of_a_take_back_turns_it_round() -> None:
    said = Said()
    last = ICE
    for number in range(1, 6):
        last = said.back(last)
        assert said.kilograms() == (None if number % 2 else 20)


def test_a_chain_of_a_thousand_corrections_is_worked_out() -> None:
    """Whoever means harm cannot make the watch fall over its own feet."""
    said = Said()
    last = ICE
    for _ in range(2000):
        last = said.back(last)
    assert said.kilograms() == 20


def test_it_is_told_what_takes_an_entry_back() -> None:
    said = Said()
    back = said.back(ICE)
    assert said.worked_out().taken_back == {ICE.key: back}


def test_amendments_build_on_each_other_in_the_order_of_their_times() -> None:
    """One that is logged late comes where it belongs."""
    said = Said()
    later = said.amend(ICE, 20.0, kg=25)
    said.amend(ICE, 10.0, kg=30, celsius=1.0)
    amended = said.worked_out().amended[ICE.key]
    assert amended.entry.entry == e.Addition(what="ice", kg=25, celsius=1.0)
    assert amended.by == later


def test_an_amendment_that_is_taken_back_changes_nothing() -> None:
    said = Said()
    said.back(said.amend(ICE, kg=30))
    assert said.kilograms() == 20 and not said.worked_out().amended


def test_nonsense_is_refused() -> None:
    said = Said()
    said.amend(ICE, what="gravel")
    with pytest.raises(Refused, match="the amended addition would be wrong"):
        said.worked_out()


def test_durations_and_times_stay_what_they_are() -> None:
    run = Logged("run", "tank-3", e.LetRun(for_=e.Duration(7200.0), more=0.3), 0.0, 0.0)
    more = Logged("more", "tank-3", e.Amend(of="run", fields={"more": 0.5}), 1.0, 1.0)
    found = corrected([run, more], {more.key: run})
    assert found.amended[run.key].entry.entry == e.LetRun(for_=e.Duration(7200.0), more=0.5)


def test_the_root_of_a_correction_is_what_it_is_about_in_the_end() -> None:
    said = Said()
    third = said.back(said.back(said.back(ICE)))
    assert root(third, said.named) == ICE and root(ICE, said.named) == ICE
