"""The pages are reached from this machine alone unless accounts and TLS guard them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.errors import Fault
from kuraban.settings import load
from kuraban.settings.checks.listen_policy import at_home, split_listen

Write = Callable[..., Path]
Faults = Callable[..., dict[str, Fault]]
ACCOUNT = '[[account]]\nid = "aki"\nrole = "log"\npassword = "$argon2id$v=19$m=8,t=1,p=1$YQ$Yg"\n'


def test_without_the_table_there_are_no_pages(small: Write) -> None:
    """The watch stays small."""
    assert load(small(), {}).web is None


def test_by_default_they_listen_on_this_machine(small: Write) -> None:
    """No account is needed there."""
    pages = load(small(more="[web]\n"), {}).web
    assert pages is not None
    assert (pages.host, pages.port, pages.accounts) == ("127.0.0.1", 8080, ())


@pytest.mark.parametrize(
    ("listen", "host", "port"),
    [("127.0.0.1:8080", "127.0.0.1", 8080), ("[::1]:80", "::1", 80), ("kura:1", "kura", 1)],
)
def test_address_and_port_are_told_apart(listen: str, host: str, port: int) -> None:
    """Brackets are for the address alone."""
    assert split_listen(listen) == (host, port)


@pytest.mark.parametrize("listen", ["8080", ":8080", "::1:80", "[kura]:80", "kura:0", "kura:x", ""])
def test_what_is_no_address_and_port_is_a_fault(small: Write, faults: Faults, listen: str) -> None:
    """With one that would be right."""
    found = faults(small(more=f'[web]\nlisten = "{listen}"\n'))
    assert "web.listen" in found


@pytest.mark.parametrize(
    ("host", "home"),
    [("127.0.0.1", True), ("127.3.4.5", True), ("::1", True), ("localhost", True),
     ("0.0.0.0", False), ("192.168.1.5", False), ("kura.example", False), ("::", False)],
)  # fmt: skip
def test_only_loopback_is_at_home(host: str, home: bool) -> None:
    """A name may lead anywhere."""
    assert at_home(host) is home


def test_open_to_others_takes_accounts_and_tls(small: Write, faults: Faults) -> None:
    """Both are said, with what to add."""
    found = faults(small(more='[web]\nlisten = "0.0.0.0:8080"\n'))
    assert "TLS" in found["web.listen"].wrong
    with_account = faults(small(more=f'[web]\nlisten = "0.0.0.0:8080"\n{ACCOUNT}'))
    assert "cert_file" in with_account["web.listen"].right
    proxied = '[web]\nlisten = "0.0.0.0:8080"\nproxy = ["10.0.0.2"]\n'
    assert "no accounts" in faults(small(more=proxied))["web.listen"].wrong
    assert load(small(more=proxied + ACCOUNT), {}).web is not None


def test_the_environment_opens_nothing_either(small: Write, faults: Faults) -> None:
    """The check looks at what will be in force."""
    env = {"KURABAN_WEB__LISTEN": "0.0.0.0:8080"}
    assert "web.listen" in faults(small(more="[web]\n"), env)


def test_a_certificate_needs_its_key_and_both_their_files(
    small: Write, faults: Faults, tmp_path: Path
) -> None:
    """Relative to the site file."""
    (tmp_path / "cert.pem").write_text("x")
    found = faults(small(more='[web]\ncert_file = "cert.pem"\n'))
    assert found["web.cert_file"].right == "give key_file"
    found = faults(small(more='[web]\ncert_file = "cert.pem"\nkey_file = "key.pem"\n'))
    assert "there is no file" in found["web.key_file"].wrong


@pytest.mark.parametrize(
    "public", ["kura.example", "http://kura.example", "https://kura.example/pages", "https://"]
)
def test_links_lead_to_an_address_under_tls(small: Write, faults: Faults, public: str) -> None:
    """Whoever holds a link can answer a ring."""
    assert "web.public" in faults(small(more=f'[web]\npublic = "{public}"\n'))


def test_a_proxy_is_stated_by_its_address(small: Write, faults: Faults) -> None:
    """A name could become anybody's."""
    assert "web.proxy" in faults(small(more='[web]\nproxy = ["gateway"]\n'))


def test_an_account_shares_its_persons_name_and_language(small: Write) -> None:
    """Where it says no other."""
    pages = load(small(more=f"[web]\n{ACCOUNT}"), {}).web
    assert pages is not None
    (account,) = pages.accounts
    assert (account.name, account.language, account.role) == ("Aki", "en", "log")


@pytest.mark.parametrize(
    ("changed", "key"),
    [
        (('"log"', '"boss"'), "account[aki].role"),
        (('password = "$argon2id$v=19$m=8,t=1,p=1$YQ$Yg"', ""), "account[aki].password"),
        (('"$argon2id$v=19$m=8,t=1,p=1$YQ$Yg"', '"rice and water"'), "account[aki].password"),
    ],
)
def test_an_account_says_role_and_password_line(
    small: Write, faults: Faults, changed: tuple[str, str], key: str
) -> None:
    """A password in the open is refused and not repeated."""
    found = faults(small(more="[web]\n" + ACCOUNT.replace(*changed)))
    assert key in found
    assert "rice and water" not in str(found)


def test_two_accounts_of_one_name_are_a_fault(small: Write, faults: Faults) -> None:
    """One of them could not come in."""
    assert "account[aki].id" in faults(small(more=f"[web]\n{ACCOUNT}{ACCOUNT}"))


def test_the_old_name_of_the_web_pages_table_tells_the_new_one(
    small: Write, faults: Faults
) -> None:
    """`pages` is what rings a person, and nothing else."""
    assert "[web]" in faults(small(more="[pages]\n"))["pages"].right
