"""How far a mash is, and when a bed's next work is due."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from kuraban.core.planned_curve import NEVER, Line, Target
from kuraban.core.site import Place, Probe
from kuraban.queries.batches.progress import Progress, Sampled, progress, proposed, works
from tests.core.detectors.kit import MID, TANK, Night, course, house, koji, ramp, stage

DAY = 1440
COURSE = msgspec.structs.replace(
    course(stage("tome", 8.0, hours=24), stage("moromi", 10.0, hours=480)), day_one="tome"
)
PUBLISHED = ((6, 4.0), (7, 3.2), (8, 2.9), (9, 2.4), (10, 1.9), (11, 1.5), (12, 1.1))
"""Moromi day and Baume of one batch in a brewery's diary (common practice, one batch)."""


def sampled(upto: int, **more: Any) -> tuple[Night, Progress]:
    """The published batch, sampled each morning at ten, up to a day."""
    n = Night(house(TANK, MID, courses=(COURSE,)))
    n.minute = upto * DAY
    n.batch(since=-12 * 60)
    for day, baume in PUBLISHED:
        if day <= upto:
            n.log("tank", "sample", at=(day - 1) * DAY - 12 * 60, baume=baume, **more)
    return n, asked(n)


def asked(n: Night) -> Progress:
    now, told = n.start + 60 * n.minute, n.view.entry_log.about("tank")
    return progress(n.view.house, told, n.view.batch("tank", now), now)


def test_the_published_batch_has_the_bmd_that_its_crew_wrote() -> None:
    """Whole days times Baume: Nada Sake Research Group glossary, "BMD curve"."""
    _, found = sampled(12)
    assert [s.day for s in found.samples] == [6, 7, 8, 9, 10, 11, 12]
    assert [s.bmd for s in found.samples] == pytest.approx(
        [24.0, 22.4, 23.2, 21.6, 19.0, 16.5, 13.2]
    )


@pytest.mark.parametrize("hour", [-3, 0, 6, 12, 20])
def test_bmd_is_the_same_at_any_hour_of_the_day(hour: int) -> None:
    """3.8 on day 9 is 34.2, at six in the morning as at four in the night."""
    n, _ = sampled(5)
    n.minute = 9 * DAY
    n.log("tank", "sample", at=8 * DAY - 13 * 60 + hour * 60, baume=3.8)
    (sample,) = asked(n).samples
    assert (sample.day, sample.bmd) == (9, pytest.approx(34.2))


def test_an_early_forecast_waits_and_a_later_range_holds_the_day() -> None:
    """That batch reached zero about day 15; a line from days 8 and 9 alone said day 22."""
    assert sampled(9)[1].zero is None
    late = sampled(12)[1].zero
    assert late is not None
    assert late.earliest < 15 < late.latest
    assert late.earliest < late.likely < late.latest


def test_before_two_samples_nothing_is_forecast() -> None:
    assert sampled(6)[1].zero is None


def test_water_moves_baume_and_the_forecast_starts_anew() -> None:
    n, _ = sampled(11)
    n.log("tank", "addition", what="late-water", litres=40, at=10 * DAY)
    found = asked(n)
    assert found.corrected == "late-water" and found.zero is None and len(found.samples) == 6


def test_samples_of_one_moment_are_one() -> None:
    n, _ = sampled(6)
    n.log("tank", "sample", at=5 * DAY - 12 * 60, alcohol=8.1)
    found = asked(n)
    assert [(s.baume, s.alcohol) for s in found.samples] == [(4.0, 8.1)]


def test_a_warm_sample_is_corrected_to_15_degrees() -> None:
    """1.8 to 2.1 SMV at 20 °C and 15 %, with what its sugar adds (OIML R 22, ICUMSA)."""
    _, cold = sampled(6)
    _, warm = sampled(6, hydrometer_celsius=20.0, alcohol=15.0)
    assert cold.samples[0].baume is not None and warm.samples[0].baume is not None
    assert 0.18 < warm.samples[0].baume - cold.samples[0].baume < 0.22


def test_alcohol_against_baume_is_a_line_of_the_batch_itself() -> None:
    n, _ = sampled(5)
    for day, baume, alcohol in ((1, 6.0, 8.0), (4, 3.0, 11.3)):
        n.log("tank", "sample", at=day * DAY, baume=baume, alcohol=alcohol)
    assert asked(n).slope == pytest.approx(1.1)


def test_the_day_is_whole_and_the_course_has_its_end() -> None:
    _, found = sampled(6)
    assert (found.today, found.ends) == (7, 22.0)
    assert found.tomorrow is not None and found.tomorrow[1] == 8.0


BED = Place(id="bed", kind="koji-bed", name="Koji bed 1")
KOJI = course(
    koji(32.0, "mori", hours=8, rate=0.5), koji(36.0, "naka", hours=8), course_id="koji",
    never=(20.0, 46.0), whither="koji-bed",
)  # fmt: skip


def bed(an_hour: float, minutes: float = 120) -> Night:
    n = Night(house(BED, Probe(id="bed-mid", of="bed", measures="product"), courses=(KOJI,)))
    n.batch("bed", "koji", since=0)
    return n.play(minutes, **{"bed-mid": ramp(32.0, an_hour)})


def test_the_next_work_is_due_when_the_bed_has_risen_to_it() -> None:
    """From 32 to 36 at 0.5 K/h is eight hours, of which two are over."""
    n = bed(0.5)
    now = n.start + 60 * n.minute
    found = works(n.view, "bed", n.view.batch("bed", now), now)
    assert found is not None and found.goal == 36.0 and found.following == "naka"
    assert found.hours.soonest == pytest.approx(6.0, abs=0.2)
    assert found.slow == pytest.approx(0.5, abs=0.05)


def test_a_bed_that_stands_still_has_no_next_work_by_its_rise() -> None:
    n = bed(0.0)
    now = n.start + 60 * n.minute
    found = works(n.view, "bed", n.view.batch("bed", now), now)
    assert found is not None and found.hours.soonest > 1000


def test_what_a_work_did_last_time_is_told() -> None:
    n = bed(0.5, 60)
    n.log("bed", "handwork")
    n.play(180, **{"bed-mid": ramp(31.2, 0.5, since=60)})
    now = n.start + 60 * n.minute
    found = works(n.view, "bed", n.view.batch("bed", now), now)
    assert found is not None and [name for name, _, _ in found.last] == ["handwork"]
    assert found.last[0][2] == pytest.approx(-1.0, abs=0.2)


LINE = Target(bmd=((6.0, 24.0), (12.0, 13.0)))


@pytest.mark.parametrize(
    ("bmd", "way", "why"),
    [
        (((6.0, 24.0), (12.0, 13.0)), 0, "with-line"),
        (((6.0, 20.0), (12.0, 9.0)), 1, "above-line"),
        (((6.0, 30.0), (12.0, 17.0)), -1, "below-line"),
    ],
)
def test_tomorrows_aim_is_proposed_by_the_houses_line(bmd: Line, way: int, why: str) -> None:
    """Day 12 at BMD 13.2: above the line the ferment is behind it, a few tenths warmer."""
    n, found = sampled(12)
    proposal = proposed(found, Target(bmd=bmd), NEVER, n.start + 60 * n.minute)
    assert proposal is not None and found.tomorrow is not None
    assert proposal.at == found.tomorrow[0] and proposal.why == why
    assert proposal.celsius - proposal.planned == pytest.approx(0.3 * way)
    assert dict(proposal.facts)["bmd"] == pytest.approx(13.2)


def test_no_line_is_asked_where_it_cannot_know() -> None:
    """Beside its days, after late water, by an old sample; and never beyond what never allows."""
    n, found = sampled(12)
    now = n.start + 60 * n.minute
    for target, at in ((Target(bmd=((20.0, 9.0), (30.0, 1.0))), now), (LINE, now + 2 * DAY * 60)):
        told = proposed(found, target, NEVER, at)
        assert told is not None and told.why in ("open", "with-course", "early")
    low = Target(bmd=((6.0, 20.0), (12.0, 9.0)))
    held = proposed(found, low, (0.0, 8.1), now)
    assert held is not None and held.celsius == 8.1
    n.log("tank", "addition", at=11 * DAY, what="late-water", litres=50.0)
    told = proposed(asked(n), low, NEVER, now)
    assert told is not None and "line" not in told.why


@pytest.mark.parametrize(
    ("day", "baume", "wanted", "why"),
    [
        (10, 6.0, 57.3, "with-line"),
        (10, 6.0, 57.0, "above-line"),
        (10, 6.0, 63.3, "below-line"),
        (20, 0.5, 8.6, "with-line"),
        (20, 0.5, 8.4, "above-line"),
    ],
)
def test_a_batch_goes_with_a_line_within_a_twentieth_and_a_reading(
    day: int, baume: float, wanted: float, why: str
) -> None:
    """BMD 60 within 5 % of its line, and 10 within 1.5 of it (common practice)."""
    read = Sampled(at=0.0, day=day, baume=baume, alcohol=None, acidity=None)
    found = Progress(samples=(read,), today=day, zero=None, corrected=None, slope=None, ends=None,
                     tomorrow=(DAY * 60.0, 9.0))  # fmt: skip
    told = proposed(found, Target(bmd=((1.0, wanted), (30.0, wanted))), NEVER, 0.0)
    assert told is not None and told.why == why
