"""Whoever is given a view of the books can write nothing through it."""

from __future__ import annotations

import pytest

from kuraban.core.plan.entry_log import EntryLog
from kuraban.core.plan.plan_view import EntryLogView, SubjectView
from kuraban.core.plan.subject_state import SubjectState
from tests.core.house import brewery
from tests.house import members_of


@pytest.mark.parametrize(
    ("view", "whole", "writing"),
    [
        (SubjectView, SubjectState, {"mask", "cut"}),
        (EntryLogView, EntryLog, {"add", "refold", "prune", "subject_state"}),
    ],
)
def test_a_view_shows_and_has_nothing_to_write_with(
    view: type, whole: type, writing: set[str]
) -> None:
    shown = members_of(view)
    kept = members_of(whole) | set(vars(EntryLog(brewery())))
    assert shown and shown <= kept
    assert writing <= members_of(whole) and not shown & writing


def test_asking_about_a_subject_of_which_nothing_was_logged_leaves_no_trace() -> None:
    books = EntryLog(brewery())
    assert books.of("tank-3").last_stir is None and not books.subject_states
