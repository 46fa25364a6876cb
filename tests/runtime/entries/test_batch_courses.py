"""A batch keeps the course that it began with, from the moment at which it begins."""

from __future__ import annotations

from kuraban.core import entries as e
from kuraban.core.engine.engine import Engine
from kuraban.core.facts import HouseChanged, Logged
from kuraban.core.site import to_document
from kuraban.runtime.entries.batch_courses import begun
from kuraban.settings import load
from kuraban.settings.catalogues import load_words
from tests.edges.web.served import SITE

NOON = 1_770_174_000.0


def watch() -> Engine:
    engine = Engine(load_words())
    engine.take(HouseChanged(NOON, to_document(load(SITE, {}).house)))
    engine.drain()
    return engine


def start(place: str, batch: str, at: float, course: str = "night-slow") -> Logged:
    entry = e.BatchStart(batch=batch, course=course, stage="moromi", since=e.Moment(at - 86400))
    return Logged(f"start {batch}", place, entry, at, NOON)


def kept(engine: Engine) -> list[tuple[str, str]]:
    return [(name, place) for name, place, _ in begun(engine.drain(), engine)]


def test_a_batch_that_begins_now_has_its_course_kept_at_once() -> None:
    engine = watch()
    engine.take(start("tank-1", "20", NOON))
    assert kept(engine) == [("20", "tank-1")]
    assert kept(engine) == []


def test_one_announced_for_later_is_kept_when_it_begins() -> None:
    """By the course as it is read then."""
    engine = watch()
    engine.take(start("tank-1", "20", NOON + 3600.0))
    assert kept(engine) == []
    engine.wake(NOON + 3600.0)
    assert kept(engine) == [("20", "tank-1")]


def test_one_that_was_refused_is_not_kept() -> None:
    """A course that nobody knows."""
    engine = watch()
    engine.take(start("tank-1", "20", NOON, course="none such"))
    assert kept(engine) == []
