"""Your own recorded nights played more than once: as the house is, and as it might be.

`changes` holds what may be altered, `spells` what a night came to and how two of them compare,
`play` runs one through the core and lays two side by side, `variants` plays several at once.
"""

from __future__ import annotations

from kuraban.rehearse.altered_settings import Change, read_changes
from kuraban.rehearse.play import Rehearsal
from kuraban.rehearse.variants import rehearse

__all__ = ["Change", "Rehearsal", "read_changes", "rehearse"]
