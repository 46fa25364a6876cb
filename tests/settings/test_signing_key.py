"""The key of sessions and links is given, or made once and kept."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.errors import ConfigurationError
from kuraban.settings import Settings, Web, load
from kuraban.settings.signing_key import KEY, pages_key


@pytest.fixture
def settings(small: Callable[..., Path]) -> Settings:
    return load(small(more="[web]\n"), {})


def test_a_key_is_made_once_and_kept(settings: Settings) -> None:
    """A restart ends no session; nobody else may read it."""
    key = pages_key(settings)
    assert len(key) == 64 and pages_key(settings) == key
    assert (settings.data / KEY).stat().st_mode & 0o777 == 0o600


def test_a_given_key_is_taken(settings: Settings) -> None:
    """And none is made."""
    given = dataclasses.replace(settings, web=Web(secret="s" * 40))
    assert pages_key(given) == "s" * 40
    assert not (settings.data / KEY).exists()


@pytest.mark.parametrize("held", [b"", b"short\n", b"\xff\xfe"])
def test_a_file_without_a_key_is_a_fault(settings: Settings, held: bytes) -> None:
    """It names the file; nothing is overwritten."""
    settings.data.mkdir()
    (settings.data / KEY).write_bytes(held)
    with pytest.raises(ConfigurationError, match=r"pages\.key"):
        pages_key(settings)
    assert (settings.data / KEY).read_bytes() == held


def test_a_key_shows_in_no_print(settings: Settings) -> None:
    """Settings are logged when something is wrong."""
    assert "s" * 40 not in repr(Web(secret="s" * 40))
