"""Where the long history goes: what must hold of its address, and what is wise about its token."""

from __future__ import annotations

import ssl
from collections.abc import Iterator, Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from urllib.parse import SplitResult, urlsplit

from kuraban.errors import Fault
from kuraban.settings.checks.listen_policy import at_home
from kuraban.settings.checks.references import Found, Wrong
from kuraban.settings.files.tables import HistoryTable
from kuraban.settings.model import Receiver

EXAMPLE = "http://127.0.0.1:8086"


def receiver(table: HistoryTable | None, folder: Path) -> Receiver | None:
    """The engine of a table without faults; its file's path made absolute."""
    if table is None or table.url is None or table.bucket is None:
        return None
    url, ca_file = table.url.rstrip("/"), folder / table.ca_file if table.ca_file else None
    return Receiver(url, table.bucket, table.org, table.token, table.site, ca_file)


def months(table: HistoryTable | None, folder: Path) -> Receiver | None:
    """The folder of a table without faults, its path made absolute."""
    if table is None or table.folder is None:
        return None
    return Receiver(str(folder / table.folder), "parquet", site=table.site)


def receiving(raw: Mapping[str, Any], folder: Path) -> Found:
    """An address that carries a secret, or more or less than an address; an authority in vain; a
    table that names nobody, or a folder that nothing could be written in."""
    table = _table(raw)
    if table.get("url") is not None:
        yield from _address(_url(raw))
    if table.get("url") is not None and table.get("bucket") is None:
        yield _wrong("is missing beside url", "give bucket", "bucket")
    folder_alone = table.get("folder") is not None and table.get("bucket") is None
    if "history" in raw and table.get("url") is None and not folder_alone:
        yield _wrong("is missing", f'give url = "{EXAMPLE}" and bucket, or folder alone')
    yield from _authority(raw, folder)
    if table.get("folder") is not None and find_spec("pyarrow") is None:
        right = "install it: /opt/kuraban/bin/pip install 'kuraban[parquet]'; or leave it out"
        yield _wrong("needs pyarrow, which is not installed", right, "folder")


def _address(url: str) -> Found:
    told = _split(url)
    if told is None:
        yield _wrong("what stands here is no web address", f'write one such as "{EXAMPLE}"')
        return
    if told.username is not None or told.password is not None:
        right = "write the address alone, and give token or token_from"
        yield _wrong("a name or password stands in it", right)
    if told.query or told.fragment:
        right = f'write the engine\'s address alone, such as "{EXAMPLE}"'
        yield _wrong("more than an address stands in it", right)
    if told.path.rstrip("/").endswith("/api/v2/write"):
        right = "leave /api/v2/write out; it is added"
        yield _wrong("the path of the write stands in it", right)


def _authority(raw: Mapping[str, Any], folder: Path) -> Found:
    """A file that is not there or holds no certificate, or one beside an address without TLS."""
    named = _table(raw).get("ca_file")
    if not isinstance(named, str) or not named:
        return
    file = folder / named
    if not file.is_file():
        right = "name a file that is there; relative paths start at the site file"
        yield _wrong(f"there is no file {file}", right, "ca_file")
    elif wrong := _unread(file):
        right = "name the certificate of whoever vouches for the engine, as PEM"
        yield _wrong(wrong, right, "ca_file")
    if urlsplit(_url(raw)).scheme == "http":
        yield _wrong("is given, and url is http://", "write https://, or leave it out", "ca_file")


def _unread(file: Path) -> str:
    """Why the file vouches for nobody, empty if it does."""
    try:
        held = ssl.create_default_context(cafile=file).get_ca_certs()
    except ssl.SSLError:
        held = []
    except OSError as error:
        return f"{file} cannot be read ({error.strerror})"
    return "" if held else f"no authority's certificate stands in {file}"


def _wrong(wrong: str, right: str, key: str = "url") -> Wrong:
    return Wrong(("history", key), f"history.{key}", wrong, right)


def receiving_words(raw: Mapping[str, Any], where: str) -> Iterator[Fault]:
    """A word where a token leaves this machine in the open."""
    told = urlsplit(_url(raw))
    if _table(raw).get("token") and told.scheme == "http" and not at_home(told.hostname or ""):
        wrong, right = "the token goes over the network in the open", "write https://"
        yield Fault(where, "history.url", wrong, f"{right}, or keep the engine on this machine")


def _url(raw: Mapping[str, Any]) -> str:
    """The address, empty where there is none or something else."""
    url = _table(raw).get("url")
    return url if isinstance(url, str) else ""


def _table(raw: Mapping[str, Any]) -> Mapping[str, Any]:
    table = raw.get("history")
    return table if isinstance(table, dict) else {}


def _split(url: str) -> SplitResult | None:
    """None for what looks like an address and is none."""
    try:
        told = urlsplit(url)
        return told if told.port != 0 else None
    except ValueError:
        return None
