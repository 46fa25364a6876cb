"""The demo: a night at an invented brewery, played through the real watch in a minute."""

from __future__ import annotations

from kuraban.demo.play import run

__all__ = ["run"]
