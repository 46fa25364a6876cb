"""Settings: the only reader of site file, course files and environment.

Reading takes libraries that a running watch does without, so what reads is imported when it is
asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from kuraban.settings.model import (
    Account,
    Addresses,
    Keep,
    Mqtt,
    Outward,
    Receiver,
    Settings,
    Web,
)

if TYPE_CHECKING:
    from kuraban.settings.files.courses import built_in_courses, read_course
    from kuraban.settings.reading import load

__all__ = [
    "Account", "Addresses", "Keep", "Mqtt", "Outward", "Receiver", "Settings", "Web",
    "built_in_courses", "load", "read_course",
]  # fmt: skip

_READERS = {"load": "reading", "built_in_courses": "files.courses", "read_course": "files.courses"}


def __getattr__(name: str) -> Any:
    if name in _READERS:
        return getattr(import_module(f"{__name__}.{_READERS[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
