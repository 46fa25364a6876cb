"""What people logged, as whoever only reads it sees it: nothing here can be written.

The checker holds it. Entries are written by `kuraban.core.plan.entry_log` alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from typing import Protocol

from kuraban.core.facts import Logged
from kuraban.core.plan.subject_state import Batch, LetRun, Mask
from kuraban.core.site import House, Swap


class SubjectView(Protocol):
    """One place, cooler or probe as its entries leave it."""

    @property
    def batch(self) -> Batch | None: ...
    @property
    def ended(self) -> tuple[str, float] | None:
        """The batch that ran here last, and when it ended."""

    @property
    def masks(self) -> Sequence[Mask]: ...
    @property
    def let_run(self) -> LetRun | None: ...
    @property
    def last_stir(self) -> float | None: ...
    @property
    def last_work(self) -> tuple[str, float] | None:
        """The latest other work: an entry's name or what went in, and when."""

    @property
    def hands(self) -> Sequence[tuple[float, str]]:
        """Who worked here, and when; the latest few."""

    @property
    def check(self) -> tuple[float, float] | None:
        """Time and degrees of the last reading by hand thermometer."""

    @property
    def out_of_service(self) -> float | None: ...
    @property
    def probe_out(self) -> float | None: ...
    def masked(self, at: float) -> float | None:
        """The end of the stretch of masks that covers `at`, None if nothing masks it."""


class EntryLogView(Protocol):
    """The books of a house with the entries behind them."""

    @property
    def version(self) -> int:
        """Rises with every change of the books; what was derived from an older one is void."""

    @property
    def piped(self) -> int:
        """The version since which every place is served by the same coolers and heaters."""

    @property
    def newest(self) -> float: ...
    def counting(self) -> Iterator[Logged]:
        """Every entry as it counts now, in the order of time: amended ones amended."""

    def foresee(self, correction: Logged) -> tuple[Logged, Logged | None] | None:
        """The entry at which a correction aims in the end, and as what that would count after it,
        None for not at all. None where the correction would be refused."""

    @property
    def out(self) -> AbstractSet[str]:
        """What is out of service."""

    @property
    def swaps(self) -> Sequence[Swap]: ...
    @property
    def manned(self) -> House:
        """The house with its rota as people have swapped it."""

    @property
    def subject_states(self) -> Mapping[str, SubjectView]:
        """By subject, of those about which anything was logged."""

    def of(self, subject: str) -> SubjectView:
        """A subject as its entries leave it, blank where there are none."""

    def about(self, subject: str) -> Sequence[Logged]:
        """The entries about one subject as they count now, in the order of time."""

    def batch(self, place: str, at: float) -> Batch | None:
        """The batch that runs in a place at a moment not before its last entry."""

    def cooler_of(self, place: str) -> str | None:
        """The cooler or heater that serves a place now."""

    def serving(self, place: str) -> AbstractSet[str]:
        """The coolers and heaters that serve a place now, or the room in which it stands."""
