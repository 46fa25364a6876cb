"""The key that signs sessions and links of the pages: given, or made once and kept."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from kuraban.errors import ConfigurationError, Fault
from kuraban.settings.model import Settings

KEY = "pages.key"
"""Its file in the data folder, readable by the watch alone."""
_SHORTEST = 32


def pages_key(settings: Settings) -> str:
    """The key as the site file gives it, else the kept one, else a new one that is then kept.

    ConfigurationError where the file cannot be read or written, or holds no key.
    """
    if settings.web is not None and settings.web.secret is not None:
        return settings.web.secret
    path = settings.data / KEY
    try:
        key = path.read_text("ascii").strip() if path.exists() else _made(path)
    except (OSError, UnicodeDecodeError) as error:
        wrong = str(error.strerror if isinstance(error, OSError) else "it holds no key")
        raise _refused(path, wrong) from error
    if len(key) < _SHORTEST:
        raise _refused(path, "it holds no key")
    return key


def _made(path: Path) -> str:
    path.parent.mkdir(parents=True, exist_ok=True)
    key = secrets.token_hex(32)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(f"{key}\n")
    return key


def _refused(path: Path, wrong: str) -> ConfigurationError:
    right = "let the watch read and write it, or give pages.secret_from; removing it ends sessions"
    return ConfigurationError([Fault(str(path), "web.secret", wrong, right)])
