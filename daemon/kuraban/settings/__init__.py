"""Settings: the only reader of site file, course files and environment."""

from __future__ import annotations

from kuraban.settings.courses import built_in_courses, read_course
from kuraban.settings.model import Account, Addresses, Mqtt, Outward, Pages, Settings
from kuraban.settings.reading import load

__all__ = [
    "Account", "Addresses", "Mqtt", "Outward", "Pages", "Settings", "built_in_courses", "load",
    "read_course",
]  # fmt: skip
