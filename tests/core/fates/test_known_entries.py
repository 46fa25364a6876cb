"""An entry acts once in all, however long the broker keeps it."""

from __future__ import annotations

from kuraban.core.fates.known_entries import KnownEntries


def test_what_was_taken_is_known_and_the_rest_is_not() -> None:
    """By subject and id together: two wall buttons may count alike."""
    known = KnownEntries()
    assert known.add(("tank-3", "1")) and known.add(("tank-4", "1")) and known.add(("tank-3", "2"))
    assert not known.add(("tank-3", "1"))
    assert ("tank-4", "1") in known and ("tank-4", "2") not in known
    assert len(known) == 3


def test_a_subject_and_an_id_do_not_run_together() -> None:
    known = KnownEntries()
    known.add(("tank-1", "2"))
    assert ("tank-12", "") not in known and ("tank-", "12") not in known


def test_many_are_learnt_at_once_beside_what_is_known() -> None:
    known = KnownEntries()
    known.add(("watch", "mine"))
    known.learn(("tank-3", f"e{number}") for number in range(500))
    known.learn([("tank-3", "e7")])
    assert len(known) == 501 and ("watch", "mine") in known
    assert all(("tank-3", f"e{number}") in known for number in range(500))
    assert known.digests.tolist() == sorted(known.digests)


def test_each_costs_eight_bytes() -> None:
    """A hundred entries a day are three megabytes in ten years."""
    known = KnownEntries()
    known.learn(("tank-3", str(number)) for number in range(1000))
    assert known.digests.itemsize * len(known) == 8000
