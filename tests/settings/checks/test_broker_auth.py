"""A broker that lets anybody in is told before a night rests on it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.settings import load
from kuraban.settings.checks.broker_auth import admission

Write = Callable[..., Path]


def told(site: Path) -> dict[str, str]:
    """Words about the broker, by key."""
    return {one.key: one.wrong for one in admission(load(site, {}).mqtt, str(site))}


def test_a_broker_that_asks_nobodys_name_is_told(small: Write) -> None:
    """Also on this machine: it is the same broker that the probes' network reaches."""
    for more in ("", '[mqtt]\nhost = "127.0.0.1"\n'):
        assert "lets everybody in" in told(small(more=more))["mqtt.user"]


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1"])
def test_a_name_and_this_machine_are_enough(small: Write, host: str) -> None:
    site = small(more=f'[mqtt]\nhost = "{host}"\nuser = "kuraban"\npassword = "x"\n')
    assert told(site) == {}


def test_a_pass_word_over_the_open_network_is_told(small: Write) -> None:
    site = small(more='[mqtt]\nhost = "192.168.1.10"\nuser = "kuraban"\npassword = "x"\n')
    assert list(told(site)) == ["mqtt.host"]
    assert "without encryption" in told(site)["mqtt.host"]


def test_a_certificate_is_a_name(small: Write, tmp_path: Path) -> None:
    """And speaks TLS."""
    for name in ("watch.crt", "watch.key", "ca.crt"):
        (tmp_path / name).touch()
    files = 'ca_file = "ca.crt"\ncert_file = "watch.crt"\nkey_file = "watch.key"\n'
    assert told(small(more=f'[mqtt]\nhost = "broker.local"\n{files}')) == {}


def test_a_user_from_a_credential_is_a_name(small: Write, tmp_path: Path) -> None:
    (tmp_path / "user").write_text("kuraban\n")
    assert told(small(more='[mqtt]\nuser_from = "user"\n')) == {}
