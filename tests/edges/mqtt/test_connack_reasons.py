from __future__ import annotations

import socket
import ssl

import pytest

from kuraban.edges.mqtt.connack_reasons import breakdown, refusal


@pytest.mark.parametrize(
    ("code", "word"),
    [
        (0x84, "MQTT 5"),
        (0x85, "night"),
        (0x86, "password"),
        (0x87, "kuraban"),
        (0x88, "not available"),
        (0x8A, "banned"),
        (0x8E, "second watch"),
    ],
)
def test_a_reason_code_says_what_to_do(code: int, word: str) -> None:
    """Codes of OASIS MQTT 5.0, table 2-6."""
    assert word in refusal(code, "name", user="kuraban", client="night")


def test_an_unknown_reason_keeps_its_name() -> None:
    """A code that we have no words for is told by the standard's name."""
    assert refusal(0xA2, "Wildcard Subscriptions", user=None, client="c") == (
        "refused: wildcard subscriptions"
    )


@pytest.mark.parametrize(
    ("error", "word"),
    [
        (socket.gaierror(-2, "Name or service not known"), "not found"),
        (UnicodeError("label too long"), "not found"),
        (ConnectionRefusedError(111, "Connection refused"), "nobody listens"),
        (ConnectionResetError(104, "reset"), "broke the connection off"),
        (TimeoutError("timed out"), "no answer"),
        (OSError(113, "No route to host"), "No route to host"),
        (ssl.SSLError(1, "[SSL] odd"), "TLS with kura.example:8883"),
        (ValueError("odd"), "ValueError"),
    ],
)
def test_each_way_to_fail_names_the_place(error: BaseException, word: str) -> None:
    """Host, and port where it matters, stand in the line together with what would be right."""
    line = breakdown(error, "kura.example", 8883)
    assert word in line
    assert "kura.example" in line
