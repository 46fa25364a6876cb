"""What the settings offer, and what it takes to hold them."""

from __future__ import annotations

import subprocess
import sys

import pytest

import kuraban.settings


def test_everything_offered_is_there() -> None:
    for name in kuraban.settings.__all__:
        assert getattr(kuraban.settings, name) is not None


def test_what_is_not_offered_is_not_there() -> None:
    with pytest.raises(AttributeError, match="no attribute 'saves'"):
        kuraban.settings.saves  # noqa: B018


def test_to_hold_settings_takes_no_library_that_reads_them() -> None:
    """Whoever is handed them needs a tenth of the memory."""
    asks = "import sys; from kuraban.settings import Settings; print('pydantic' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", asks], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "False"
