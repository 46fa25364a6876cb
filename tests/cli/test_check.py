"""`kuraban check`: every fault at once, or what will be watched."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from kuraban.errors import ConfigurationError
from kuraban.settings import load
from tests.cli.conftest import SITE, Type

BROKEN = sorted((Path(__file__).parents[1] / "settings" / "broken").glob("*.toml"))


@pytest.mark.parametrize("path", BROKEN, ids=lambda path: path.stem)
def test_a_broken_site_is_told_with_all_its_faults(path: Path, type_in: Type) -> None:
    """One line each: file, key, what is wrong, what would be right."""
    with pytest.raises(ConfigurationError) as broken:
        load(path, {})
    shown = type_in("check", "--site", path)
    assert shown.exit_code == 2
    assert shown.stdout == ""
    assert shown.stderr.splitlines() == [str(fault) for fault in broken.value.faults]
    assert all("; " in line for line in shown.stderr.splitlines())


def test_a_sound_site_says_what_is_judged_and_who_is_told(type_in: Type) -> None:
    shown = type_in("check", "--site", SITE).output
    assert "Nothing is wrong." in shown
    assert "always, 1.0 to 8.0 °C" in shown
    assert "while a batch runs" in shown
    assert "Aki, then Sho" in shown


def test_checking_touches_nothing(site: Path, type_in: Type) -> None:
    """No journal is made, no broker is looked for."""
    assert type_in("check", "--site", site).exit_code == 0
    assert not (site.parent / "data").exists()


def test_where_the_long_history_goes_is_told(site: Path, type_in: Type) -> None:
    """Without its token."""
    assert "long history" not in type_in("check", "--site", site).output
    more = '[history]\nurl = "http://127.0.0.1:8086"\nbucket = "sake"\ntoken = "abc-123"\n'
    site.write_text(f"{site.read_text('utf-8')}\n{more}", "utf-8")
    shown = type_in("check", "--site", site).output
    assert "goes to http://127.0.0.1:8086, bucket sake." in shown and "abc-123" not in shown


def test_a_warning_is_told_and_stops_nothing(site: Path, type_in: Type) -> None:
    site.write_text(site.read_text("utf-8").replace('timezone = "Asia/Tokyo"\n', ""), "utf-8")
    shown = type_in("check", "--site", site)
    assert shown.exit_code == 0
    assert "site.timezone" in shown.output.partition("Worth a look")[2]


def test_a_role_that_nobody_has_falls_to_the_brewer(site: Path, type_in: Type) -> None:
    """And the list says that they stand in."""
    text = site.read_text("utf-8").replace('role = "crew"', 'role = "porter"')
    site.write_text(text, "utf-8")
    crew = [line for line in type_in("check", "--site", site).output.splitlines() if "crew" in line]
    assert "Aki, then Sho (stand in)" in crew[0]


def test_without_any_site_file_it_says_how_to_get_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, type_in: Type
) -> None:
    monkeypatch.chdir(tmp_path)
    shown = type_in("check")
    assert shown.exit_code == 2
    assert "kuraban init" in shown.stderr


def test_gaps_of_the_rota_are_told_with_their_dates(
    site: Path, type_in: Type, at: Callable[[float], None]
) -> None:
    """And who is rung instead."""
    at(datetime.fromisoformat("2026-02-02T10:00:00+09:00").timestamp())
    text = site.read_text("utf-8")
    assert "Nobody on duty" not in type_in("check", "--site", site).output
    head, _, tail = text.partition('role = "maintenance"\n')
    assert tail
    tail = tail.replace('role = "maintenance"', 'role = "crew"')
    site.write_text(f'{head}role = "maintenance"\nhours = ["08:00", "18:00"]\n{tail}', "utf-8")
    shown = type_in("check", "--site", site).output.partition("Nobody on duty in the next 28 days")
    assert "maintenance, 18:00 to 08:00 on Mon 2 Feb, Tue 3 Feb" in shown[2]
    assert "rings Aki and Sho instead" in shown[2]


def test_a_broker_without_pass_words_is_told(site: Path, type_in: Type) -> None:
    """The invented brewery's own is one; with a name given there is nothing to say."""
    shown = type_in("check", "--site", site)
    assert shown.exit_code == 0 and "mqtt.user: is not given" in shown.output
    text = site.read_text("utf-8").replace("port = 1883", 'port = 1883\nuser = "kuraban"')
    site.write_text(text, "utf-8")
    assert "mqtt.user" not in type_in("check", "--site", site).output
