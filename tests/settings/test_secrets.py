"""Secrets are named in the site file and kept elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.errors import Fault
from kuraban.settings import load

Write = Callable[..., Path]
Faults = Callable[..., dict[str, Fault]]
PAGES = 'pages = ["json://127.0.0.1:9000/aki"]'


def test_a_password_comes_from_a_file_beside_the_site_file(small: Write, tmp_path: Path) -> None:
    """Relative to the site file's folder; the line's end is no part of it."""
    (tmp_path / "broker.txt").write_text("rice and water\n")
    site = small(more='[mqtt]\nuser = "watch"\npassword_from = "broker.txt"\n')
    assert load(site, {}).mqtt.password == "rice and water"


def test_addresses_come_from_a_systemd_credential(small: Write, tmp_path: Path) -> None:
    """One address a line, from the folder that systemd names."""
    held = tmp_path / "credentials"
    held.mkdir()
    (held / "aki").write_text("json://127.0.0.1:1/a\n\njson://127.0.0.1:2/b\n")
    site = small((PAGES, 'pages_from = "credential:aki"'))
    settings = load(site, {"CREDENTIALS_DIRECTORY": str(held)})
    assert settings.addresses["aki"].pages == ("json://127.0.0.1:1/a", "json://127.0.0.1:2/b")


def test_a_credential_that_is_not_there_is_told_by_the_nearest(
    small: Write, tmp_path: Path, faults: Faults
) -> None:
    """The unit file's spelling and the site file's must agree."""
    held = tmp_path / "credentials"
    held.mkdir()
    (held / "aki-pages").write_text("json://127.0.0.1:1/a")
    site = small((PAGES, 'pages_from = "credential:aki-page"'))
    found = faults(site, {"CREDENTIALS_DIRECTORY": str(held)})
    assert found["person[aki].pages_from"].right == 'did you mean "aki-pages"?'
    assert len(found) == 1


def test_outside_systemd_a_credential_lies_where_the_installer_put_it(
    small: Write, tmp_path: Path, faults: Faults
) -> None:
    """In `secrets` beside the site file; where it is not there either, that is a fault."""
    site = small((PAGES, 'pages_from = "credential:secrets_aki"'))
    found = faults(site)["person[aki].pages_from"]
    assert "LoadCredential" in found.right and str(tmp_path / "secrets" / "aki") in found.right
    (tmp_path / "secrets").mkdir()
    (tmp_path / "secrets" / "aki").write_text("json://127.0.0.1:1/a\n")
    assert load(site, {}).addresses["aki"].pages == ("json://127.0.0.1:1/a",)


def test_whoever_uses_no_secret_reads_none(small: Write) -> None:
    """Not even one that is not there: what a tank did is nobody's secret."""
    more = (
        '[mqtt]\npassword_from = "no"\n[web]\nsecret_from = "no"\n[watch]\nping_from = "no"\n'
        '[[account]]\nid = "aki"\nrole = "log"\npassword_from = "no"\n'
    )
    site = small((PAGES, 'pages_from = "credential:secrets_aki"'), more=more)
    assert load(site, {}, advised=False, secrets=False).addresses["aki"].pages == ()


def test_a_secret_that_one_may_not_read_says_who_may(
    small: Write, tmp_path: Path, faults: Faults, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: Path, **_: object) -> str:
        raise PermissionError(13, "Permission denied", str(path))

    site = small((PAGES, 'pages_from = "word"'))
    monkeypatch.setattr(Path, "read_text", refuse)
    assert "join the group" in faults(site)["person[aki].pages_from"].right


def test_a_credential_cannot_lead_out_of_its_folder(
    small: Write, tmp_path: Path, faults: Faults
) -> None:
    """A credential is a name, not a path."""
    site = small((PAGES, 'pages_from = "credential:../site.toml"'))
    found = faults(site, {"CREDENTIALS_DIRECTORY": str(tmp_path / "credentials")})
    assert "is not a credential" in found["person[aki].pages_from"].wrong


def test_a_secret_is_given_once(small: Write, tmp_path: Path, faults: Faults) -> None:
    """Both ways in one file leave open which counts."""
    (tmp_path / "p.txt").write_text("x")
    site = small(more='[mqtt]\npassword = "y"\npassword_from = "p.txt"\n')
    assert "both" in faults(site)["mqtt.password_from"].wrong


def test_a_file_of_a_secret_that_is_not_there_is_a_fault(small: Write, faults: Faults) -> None:
    """It is told with its key, beside the other faults."""
    site = small(more='[mqtt]\npassword_from = "nowhere.txt"\n')
    assert "cannot be read" in faults(site)["mqtt.password_from"].wrong
