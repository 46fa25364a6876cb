"""Settings handed to another process of ours are the same settings, and run nothing there."""

from __future__ import annotations

import dataclasses
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest

from kuraban.core.units import HOUR
from kuraban.errors import Fault
from kuraban.settings import Account, Addresses, Keep, Outward, Receiver, Web, load
from kuraban.settings.handover import pack, plain, unpack
from kuraban.settings.model import Settings

SITE = Path(__file__).parents[2] / "fixtures" / "brewery" / "site.toml"
FULL = {
    "web": Web(
        "0.0.0.0", 8443, "https://watch.example", Path("/c.crt"), Path("/c.key"), ("10.0.0.1",),
        (Account("aki", "manage", "Aki", "ja", "$argon2id$x"),), "secret",
    ),
    "outward": Outward("https://ping.example/abc", 60.0),
    "history": Receiver("http://127.0.0.1:8086", "sake", "kura", "abc", "north", Path("/ca.crt")),
    "keep": Keep(HOUR, 2 * HOUR),
    "warnings": (Fault("site.toml", "rota", "nobody", "name somebody"),),
    "addresses": {"aki": Addresses(("json://host/aki",), ("mailto://host",))},
}  # fmt: skip


@pytest.mark.parametrize("more", [{}, FULL], ids=["the invented brewery", "everything switched on"])
def test_settings_come_over_whole(more: dict[str, object]) -> None:
    """Secrets, paths and the house with its courses."""
    settings = dataclasses.replace(load(SITE, {}), **more)
    found = unpack(pack(settings))
    assert found == settings and found.house.place == settings.house.place
    assert {field.name for field in dataclasses.fields(Settings)} >= set(more)


@pytest.mark.parametrize("packed", [b"", b"\x80", b"\x80\x04\x95.", b"\x91\x01", b"\xc1" * 9])
def test_what_are_no_settings_is_told_as_such(packed: bytes) -> None:
    with pytest.raises(msgspec.MsgspecError):
        unpack(packed)


def test_nothing_else_is_ever_handed_over() -> None:
    with pytest.raises(TypeError, match="no part of settings"):
        plain(print)


def test_whoever_is_handed_them_reads_no_site_file() -> None:
    """The libraries of some 20 MB stay where the file was read."""
    asks = "import sys, kuraban.settings.handover; print('pydantic' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", asks], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "False"
