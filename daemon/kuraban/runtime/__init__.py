"""What keeps the watch whole: its state over a restart, its turns and pages over a full disk."""

from __future__ import annotations

from kuraban.runtime.checkpoint.document import freeze
from kuraban.runtime.recovery import feed, recover, run_to

__all__ = ["feed", "freeze", "recover", "run_to"]
