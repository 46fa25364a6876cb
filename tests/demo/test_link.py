"""The link to the pages of the demo: on this machine alone unless asked for more."""

from __future__ import annotations

import socket

import pytest

from kuraban.demo.link import OPENS, answers, drawn, free_port, lines, pages_of
from kuraban.errors import ConfigurationError
from kuraban.settings.model import Web


def test_unasked_the_pages_are_reached_from_this_machine_alone() -> None:
    web = pages_of(lan=False)
    assert web.host == "127.0.0.1" and web.public is None
    assert list(lines(web)) == [
        f"The pages: http://127.0.0.1:{web.port}/  (open it, and tap as Aki or Ken would)"
    ]


def test_for_a_phone_there_is_a_code_and_a_word_on_what_that_opens() -> None:
    said = list(lines(Web("0.0.0.0", 8099, public="http://192.168.1.23:8099")))
    assert "On a phone: http://192.168.1.23:8099/" in said
    assert all(word in said for word in OPENS)
    assert any("█" in line for line in said)
    assert max(map(len, said)) <= 80


def test_without_a_network_there_is_nothing_to_show_a_phone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def unreachable(*_: object) -> None:
        raise OSError(101, "Network is unreachable")

    class Alone(socket.socket):
        connect = unreachable

    monkeypatch.setattr("socket.socket", Alone)
    with pytest.raises(ConfigurationError, match="in no network; join the Wi-Fi first"):
        pages_of(lan=True)


def test_the_code_is_drawn_from_blocks_without_colour() -> None:
    code = drawn("http://192.168.1.23:41234/")
    assert set("".join(code)) <= set(" █▀▄")
    assert len({len(line) for line in code}) == 1


def test_pages_that_do_not_come_are_not_waited_for_for_ever() -> None:
    assert not answers(free_port(), lambda: True, within=0.3)
    assert not answers(free_port(), lambda: False)
    with socket.create_server(("127.0.0.1", 0)) as listening:
        assert answers(listening.getsockname()[1], lambda: True)
