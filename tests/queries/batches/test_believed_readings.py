"""What a pulled probe reads is the air, and no part of a batch's record."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

from kuraban.queries.batches.believed_readings import BEFORE, BelievedReadings
from kuraban.store.history import History
from tests.journals import live_through


def test_what_a_pulled_probe_read_is_left_out_of_the_record(tmp_path: Path) -> None:
    """From before it was told, since it was told late; what other probes read stays."""
    path = tmp_path / "kuraban.journal"
    live_through("probe-out", path)
    with closing(History(path)) as history:
        end = (history.now() or 0.0) + 1.0
        steps = [step for step in history.steps(0.0, end) if step.alarm == "t4-mid/displaced"]
        told = next(step.at for step in steps if step.step == "raised")
        over = next((s.at for s in steps if s.step in ("returned", "normal")), end)
        believed = BelievedReadings(history, told, end)
        every = list(history.readings("t4-mid", 0.0, end))
        kept = list(believed.of("t4-mid", 0.0, end))
        assert [one for one in every if not told - BEFORE <= one[0] < over] == kept
        assert len(kept) < len(every)
        assert list(believed.of("t3-mid", 0.0, end)) == list(history.readings("t3-mid", 0.0, end))
