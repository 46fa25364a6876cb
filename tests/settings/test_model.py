"""What settings come to shows no secret."""

from __future__ import annotations

from dataclasses import FrozenInstanceError

import pytest

from kuraban.settings import Addresses, Mqtt


def test_secrets_do_not_show_in_a_log() -> None:
    """Whatever prints the settings prints neither password nor address."""
    assert "koji" not in repr(Mqtt(password="koji"))
    assert "json" not in repr(Addresses(("json://secret",)))


def test_settings_cannot_be_changed_on_the_way() -> None:
    """A restart is the reload."""
    with pytest.raises(FrozenInstanceError):
        Mqtt().host = "other"  # type: ignore[misc]
