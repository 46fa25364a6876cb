"""Which site file is meant, and where its journal lies."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.errors import ConfigurationError
from kuraban.runtime import watch as service
from kuraban.settings.paths import JOURNAL, any_site, journal_of, settings_at, site_file


def test_what_is_named_is_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On the command line, then in the environment, then here."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "site.toml").touch()
    env = {"KURABAN_SITE_FILE": "/srv/site.toml"}
    assert site_file(Path("mine.toml"), env) == Path("mine.toml")
    assert site_file(None, env) == Path("/srv/site.toml")
    assert site_file(None, {}) == Path("site.toml") == any_site({})


def test_where_there_is_none_it_says_where_it_looked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(ConfigurationError, match=r"/etc/kuraban/site\.toml.*kuraban init"):
        site_file(None, {})
    assert any_site({}) is None


def test_the_variable_is_no_setting_of_the_site(small: Callable[..., Path]) -> None:
    """It does not come up as one that is not known."""
    settings = settings_at(None, {"KURABAN_SITE_FILE": str(small())})
    assert not any("KURABAN_SITE_FILE" in str(warning) for warning in settings.warnings)


def test_whoever_asks_looks_where_the_watch_writes(small: Callable[..., Path]) -> None:
    settings = settings_at(small(), {})
    assert journal_of(settings) == settings.data / service.JOURNAL
    assert JOURNAL == service.JOURNAL
