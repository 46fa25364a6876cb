"""Your own recorded nights played twice: as the house is, and as it might be.

`changes` holds what may be altered, `spells` what a night came to and how two of them compare,
`play` runs both through the same core at once.
"""

from __future__ import annotations

from kuraban.rehearse.altered_settings import Change, read_changes
from kuraban.rehearse.play import Rehearsal, rehearse

__all__ = ["Change", "Rehearsal", "read_changes", "rehearse"]
