"""Which site file is meant when nobody says, and where the journal of a house lies."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from kuraban.errors import ConfigurationError, Fault
from kuraban.settings.model import Settings
from kuraban.settings.reading import load

VARIABLE = "KURABAN_SITE_FILE"
HERE, INSTALLED = Path("site.toml"), Path("/etc/kuraban/site.toml")
JOURNAL = "kuraban.journal"


def site_file(given: Path | None, env: Mapping[str, str] | None = None) -> Path:
    """The site file: as given, else as the environment names it, else here, else as installed.

    Root takes nothing from here that somebody else may write: a folder may be anybody's, and a site
    file says which journal is opened. ConfigurationError where none of them is there; a file that
    was named is not looked for.
    """
    env = os.environ if env is None else env
    if given is not None:
        return given
    if env.get(VARIABLE):
        return Path(env[VARIABLE])
    if HERE.is_file() and not (theirs := _of_others(HERE)):
        return HERE
    if INSTALLED.is_file():
        return INSTALLED
    if HERE.is_file():
        right = "root takes only what root alone may write: name it with --site"
        raise ConfigurationError([Fault(str(HERE.absolute()), "the file", theirs, right)])
    wrong = f"there is none at {HERE.absolute()} nor at {INSTALLED}"
    right = f"name it with --site or {VARIABLE}, or write a first one with `kuraban init`"
    raise ConfigurationError([Fault("site file", "the file", wrong, right)])


def _of_others(path: Path) -> str:
    """Who but root may write it or beside it, where root asks; empty for nobody."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        return ""
    for one in (path, path.absolute().parent):
        known = one.stat()
        if known.st_uid != 0:
            return f"{one} belongs to another user ({known.st_uid})"
        if known.st_mode & 0o022:
            return f"{one} may be written by others ({known.st_mode & 0o777:04o})"
    return ""


def any_site(env: Mapping[str, str] | None = None) -> Path | None:
    """The site file that is meant when nobody says, None where there is none."""
    try:
        return site_file(None, env)
    except ConfigurationError:
        return None


def settings_at(
    given: Path | None,
    env: Mapping[str, str] | None = None,
    now: float | None = None,
    *,
    advised: bool = False,
    secrets: bool = True,
) -> Settings:
    """The settings of the site file that is meant, with words of advice where `advised`, and
    secrets where they are used.

    ConfigurationError holds every fault.
    """
    env = os.environ if env is None else env
    path = site_file(given, env)
    own = {name: text for name, text in env.items() if name != VARIABLE}
    return load(path, own, now, advised=advised, secrets=secrets)


def journal_of(settings: Settings) -> Path:
    return settings.data / JOURNAL
