"""Every error that kuraban raises on purpose.

    KurabanError
    ├── OperatorError                 whoever runs the watch can put it right
    │   ├── ConfigurationError        site, course or setting: every fault at once
    │   ├── RecordingError            a recording that cannot be used
    │   ├── Unanswerable              a question to which the journal has no answer
    │   └── OutOfRange                an argument beyond what it can be (also a ValueError)
    ├── MachineError                  the machine or the network must recover
    │   ├── JournalError              disk or data base
    │   └── BrokerError               MQTT broker or the way to it
    └── OurError                      a bug in kuraban
        └── ImpossibleTransition      an alarm step that its table does not hold

A message names the thing, the place and what would be right.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

NOT_ALLOWED = (
    "only root and the group kuraban may read it: use sudo, or join the group"
    " (sudo adduser NAME kuraban) and log in anew"
)
"""What would be right where an account may not read what the installer laid down."""


class KurabanError(Exception):
    """The root: catch this to catch everything raised on purpose."""


class OperatorError(KurabanError):
    """Configuration or input that a person can correct."""


class MachineError(KurabanError):
    """Disk, network or broker: nothing in the input is wrong."""


class OurError(KurabanError):
    """A bug of ours: please report it with the recording that shows it."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in one place.

    `where` is the file, `key` the key in it, `wrong` what was found and `right` what would be
    right; all four are text for the operator.
    """

    where: str
    key: str
    wrong: str
    right: str

    def __str__(self) -> str:
        return f"{self.where}: {self.key}: {self.wrong}; {self.right}"


class ConfigurationError(OperatorError):
    """All faults of a configuration together; `faults` is a tuple of Fault, one printed a line."""

    faults: tuple[Fault, ...]

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__(self.faults)

    def __str__(self) -> str:
        return "\n".join(str(fault) for fault in self.faults)


class RecordingError(OperatorError):
    """A recording that cannot be opened or read; a bad line inside one is counted instead."""


class Unanswerable(OperatorError):
    """A question about what was, to which the journal has no answer; in the reader's language."""


class OutOfRange(OperatorError, ValueError):
    """An argument outside the range that its function documents."""


class JournalError(MachineError):
    """The journal cannot be opened, read or written."""


class BrokerError(MachineError):
    """The broker cannot be reached, refuses, or went away."""


class ImpossibleTransition(OurError):
    """An alarm was told to take a step that its life-cycle table does not hold."""
