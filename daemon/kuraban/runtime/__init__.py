"""What keeps the watch whole: its state over a restart, its turns and pages over a full disk."""

from __future__ import annotations

from kuraban.runtime.checkpoint.document import freeze
from kuraban.runtime.recovery import feed, live_up_to, recover, run_to

__all__ = ["feed", "freeze", "live_up_to", "recover", "run_to"]
