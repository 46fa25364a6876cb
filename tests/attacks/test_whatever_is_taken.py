"""Whatever the door takes can be written, read, restarted, replayed and exported."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.attacks.taken import live


@pytest.mark.timeout(120)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_house_that_is_told_wild_things_and_killed(tmp_path: Path, seed: int) -> None:
    """`python -m tests.attacks.taken` tells it twenty thousand."""
    life = live(tmp_path, 300, seed)
    assert life.kills >= 1 and life.readings > 100 and life.entries > 50
    assert not life.broken


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_a_long_night_of_it(tmp_path: Path) -> None:
    life = live(tmp_path, 2500, 3)
    assert life.kills >= 5
    assert not life.broken
