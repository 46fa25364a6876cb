"""Which entries were taken already, for as long as there is a journal.

A broker keeps a retained entry for ever and tells it again at every reconnect; an entry that was
forgotten would act once more, and end the next batch. So none is forgotten: of each the watch
remembers eight bytes, a digest of its subject and id. A house that logs a hundred entries a day
fills three megabytes in ten years. That two entries share a digest is not to be expected: among a
million entries the chance that a new one is taken for an old one is one in 18 million million.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Iterable
from hashlib import blake2b


class KnownEntries:
    """The entries that were taken, by subject and id."""

    def __init__(self) -> None:
        self.digests = array("Q")
        """In order."""

    def __contains__(self, key: tuple[str, str]) -> bool:
        return self._found(_digest(key))[1]

    def __len__(self) -> int:
        return len(self.digests)

    def add(self, key: tuple[str, str]) -> bool:
        """Remember an entry; whether it is a new one."""
        digest = _digest(key)
        place, there = self._found(digest)
        if not there:
            self.digests.insert(place, digest)
        return not there

    def learn(self, keys: Iterable[tuple[str, str]]) -> None:
        """Remember many at once."""
        self.digests = array("Q", sorted({*self.digests, *map(_digest, keys)}))

    def packed(self) -> bytes:
        return self.digests.tobytes()

    def unpack(self, packed: bytes) -> None:
        """Remember what another one packed, beside what is known."""
        more = array("Q")
        more.frombytes(packed)
        self.digests = array("Q", sorted({*self.digests, *more}))

    def _found(self, digest: int) -> tuple[int, bool]:
        place = bisect_left(self.digests, digest)
        return place, place < len(self.digests) and self.digests[place] == digest


def _digest(key: tuple[str, str]) -> int:
    """Neither a subject nor an id holds the character between them."""
    return int.from_bytes(blake2b("\n".join(key).encode(), digest_size=8).digest(), "big")
