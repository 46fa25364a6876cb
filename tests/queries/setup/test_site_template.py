"""A first site file is sound as it stands."""

from __future__ import annotations

from pathlib import Path

import pytest

from kuraban.queries.setup.probe_id_parser import guesses
from kuraban.queries.setup.site_template import Answers, site_text
from kuraban.settings import load

PROBES = (
    "t1-mid", "t2-mid", "t2-valve", "st1-mid", "kb1-a", "kr-dry", "kr-wet", "cellar-air",
    "store-air", "ch1-supply", "ch1-power", "h1-power", "x9", "tank-3",
)  # fmt: skip


@pytest.mark.parametrize("probes", [(), PROBES])
def test_it_can_be_read_as_it_is_written(probes: tuple[str, ...], tmp_path: Path) -> None:
    """With what was heard or with nothing: only advice, no fault."""
    path = tmp_path / "site.toml"
    path.write_text(site_text(Answers(name='Kura "Yama"'), guesses(probes)), "utf-8")
    settings = load(path, {})
    assert settings.house.site.name == 'Kura "Yama"'
    assert {probe.id for probe in settings.house.probes} == set(probes)


def test_the_pass_word_itself_is_not_in_it(tmp_path: Path) -> None:
    """Only where it lies."""
    secret = tmp_path / "secret"
    secret.write_text("night-watch", "utf-8")
    text = site_text(Answers(user="kuraban", password=secret), [])
    (tmp_path / "site.toml").write_text(text, "utf-8")
    assert "night-watch" not in text
    assert load(tmp_path / "site.toml", {}).mqtt.password == "night-watch"


def test_every_table_has_a_comment_to_go_on_from() -> None:
    text = site_text(Answers(), [])
    assert "# [[person]]" in text and "# [[duty]]" in text and "# [[probe]]" in text
