"""How many requests are at work, so that nobody's many keep out another's one.

Open pages, downloads and forms that come slowly stay at work for long. Strangers may fill a part of
what there is, the house's own network more, and whoever answers an alarm by a link that we signed
finds a place even then.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, MutableMapping
from contextlib import contextmanager
from typing import Any, Literal

from kuraban.edges.web.security.addresses import in_house, network

Who = Literal["stranger", "house", "answer"]
MOST: dict[Who, int] = {"stranger": 96, "house": 144, "answer": 176}
"""From how many at work on each is sent away; fewer than there are connections."""
OF_ONE = 32
"""At work for one address outside the house."""
LINKS = "/a/"


class Crowd:
    """Those at work. `signed` knows the token of an answer link."""

    def __init__(self, signed: Callable[[str], bool]) -> None:
        self._signed = signed
        self._of: Counter[str] = Counter()

    @contextmanager
    def place(self, scope: MutableMapping[str, Any]) -> Iterator[bool]:
        """Whether there is a place for a request; it is taken within."""
        address = (scope.get("client") or ("",))[0]
        whose, who = network(address), self._who(scope["path"], address)
        room = self._of.total() < MOST[who] and (who != "stranger" or self._of[whose] < OF_ONE)
        if not room:
            yield False
            return
        self._of[whose] += 1
        try:
            yield True
        finally:
            self._of[whose] -= 1
            if not self._of[whose]:
                del self._of[whose]

    def _who(self, path: str, address: str) -> Who:
        if path.startswith(LINKS) and self._signed(path.removeprefix(LINKS)):
            return "answer"
        return "house" if in_house(address) else "stranger"
