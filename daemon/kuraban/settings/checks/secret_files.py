"""Secrets that everybody on this machine can read, in the site file or in a file that it names."""

from __future__ import annotations

import stat
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from kuraban.errors import Fault
from kuraban.settings.checks.references import rows
from kuraban.settings.files.faults import SECRETS
from kuraban.settings.secrets import CREDENTIAL, SECRET

RIGHT = "chgrp kuraban and chmod 640 it"


class Held(NamedTuple):
    """A secret that is given: under which key, and the file that holds it, None for the site's."""

    key: str
    file: str | None


def readable(raw: Mapping[str, Any], site_file: Path) -> Iterator[Fault]:
    """A word for each file with a secret that others than its owner and group can read.

    `raw` are the tables as they were written, before any secret was filled in.
    """
    held = list(_held(raw))
    own = [one.key for one in held if one.file is None]
    if own and _for_all(site_file):
        more = f" and {len(own) - 1} more" if len(own) > 1 else ""
        wrong = f"holds secrets ({own[0]}{more}), and everybody on this machine can read it"
        yield Fault(str(site_file), "the file", wrong, f"{RIGHT}, or name files with …_from")
    for one in held:
        if one.file is not None and _for_all(path := site_file.resolve().parent / one.file):
            wrong = f"everybody on this machine can read {path}"
            yield Fault(str(site_file), one.key, wrong, RIGHT)


def _held(raw: Mapping[str, Any]) -> Iterator[Held]:
    for table, keys in SECRET.items():
        for named, row in _named_rows(raw, table):
            for key in SECRETS.intersection(keys):
                source = row.get(f"{key}_from")
                if row.get(key):
                    yield Held(f"{named}.{key}", None)
                elif isinstance(source, str) and not source.startswith(CREDENTIAL):
                    yield Held(f"{named}.{key}_from", source)


def _named_rows(raw: Mapping[str, Any], table: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    held = raw.get(table)
    if isinstance(held, dict):
        yield table, held
    for row in rows(raw, table):
        yield row.name, row.values


def _for_all(path: Path) -> bool:
    try:
        return bool(path.stat().st_mode & stat.S_IROTH)
    except OSError:
        return False
