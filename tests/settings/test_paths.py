"""Which site file is meant, and where its journal lies."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.errors import ConfigurationError
from kuraban.runtime import watch as service
from kuraban.settings import paths
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


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A site file in the folder where root stands; only who it belongs to is made up."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(paths.os, "geteuid", lambda: 0)
    site = tmp_path / "site.toml"
    site.touch(0o644)
    return site


@pytest.mark.parametrize("mode", [0o666, 0o664])
def test_root_takes_no_site_file_that_others_may_write(here: Path, mode: int) -> None:
    """A planted one would name a planted journal."""
    here.chmod(mode)
    with pytest.raises(ConfigurationError, match=r"may be written by others.*--site"):
        site_file(None, {})
    assert site_file(here, {}) == here


def test_root_takes_nothing_from_a_folder_that_others_may_write(here: Path) -> None:
    """A course or a journal may be laid beside the best of site files."""
    here.parent.chmod(0o777)
    with pytest.raises(ConfigurationError, match="may be written by others"):
        site_file(None, {})


def test_root_takes_nothing_of_another_user(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = Path.stat

    def stat(path: Path, **how: bool) -> os.stat_result:
        found = real(path, **how)
        return os.stat_result((*found[:4], 1000, *found[5:10]))

    monkeypatch.setattr(Path, "stat", stat)
    with pytest.raises(ConfigurationError, match=r"belongs to another user \(1000\)"):
        site_file(None, {})
    monkeypatch.setattr(paths.os, "geteuid", lambda: 1000)
    assert site_file(None, {}) == Path("site.toml")


def test_what_is_installed_goes_before_what_others_laid_here(
    here: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    installed = tmp_path / "installed.toml"
    installed.touch()
    monkeypatch.setattr(paths, "INSTALLED", installed)
    assert site_file(None, {}) == Path("site.toml")
    here.chmod(0o666)
    assert site_file(None, {}) == installed
