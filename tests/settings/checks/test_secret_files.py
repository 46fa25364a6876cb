"""Secrets that everybody on the machine can read are worth a word."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from kuraban.settings import load


def words(site: Path) -> list[str]:
    return [
        str(word) for word in load(site, {}).warnings if "everybody on this machine" in str(word)
    ]


def test_a_site_file_with_secrets_is_told_with_its_first(small: Callable[..., Path]) -> None:
    """And how many more there are, never what they are."""
    site = small(more='[mqtt]\nuser = "kura"\npassword = "koji-koji"\n')
    site.chmod(0o644)
    (told,) = words(site)
    assert "mqtt.password and 1 more" in told and "chmod 640" in told and "koji-koji" not in told
    site.chmod(0o640)
    assert not words(site)


def test_a_file_that_a_secret_is_in_is_told_by_its_key(small: Callable[..., Path]) -> None:
    site = small(more='[mqtt]\nuser = "kura"\npassword_from = "word"\n')
    site.chmod(0o640)
    secret = site.parent / "word"
    secret.write_text("koji")
    secret.chmod(0o644)
    (told,) = words(site)
    assert "mqtt.password_from" in told and str(secret) in told
    secret.chmod(0o600)
    assert not words(site)
