"""Which answers can go: in the order in which the messages came (MQTT 5.0, 4.6).

The watch judges some messages before others that came earlier, and writes turn by turn. So the
numbers of all that came on a link are kept here, and one is answered when it and all before it are
safe. Not for several threads at once, but for `came`, which is the network thread's.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable


class Answers:
    """Of one link."""

    def __init__(self) -> None:
        self._owed: deque[int] = deque()
        self._safe: set[int] = set()
        """Those that wait for an earlier one."""
        self.came = self._owed.append
        """Takes the number of a message of QoS 1."""

    def ready(self, safe: Iterable[int]) -> list[int]:
        """What can be answered now that these are safe."""
        owed, waits, found = self._owed, self._safe, []
        for mid in safe:
            if owed and owed[0] == mid:
                found.append(owed.popleft())
            else:
                waits.add(mid)
        while waits and owed and owed[0] in waits:
            found.append(owed.popleft())
            waits.discard(found[-1])
        return found
