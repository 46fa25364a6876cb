"""kuraban: the night watch over the temperatures of a sake brewery."""

from __future__ import annotations

__version__ = "0.1.0"
