"""What systemd tells a service that it starts."""

from __future__ import annotations

from kuraban.settings.systemd_environment import supervision


def test_without_a_supervisor_nothing_is_told() -> None:
    assert supervision({}) == (None, None)


def test_the_socket_and_the_patience_of_the_watchdog() -> None:
    env = {"NOTIFY_SOCKET": "@notify", "WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "77"}
    assert supervision(env, 77) == ("@notify", 30.0)


def test_a_watchdog_meant_for_another_process_is_not_ours() -> None:
    """A child inherits the variables of its parent."""
    env = {"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "77"}
    assert supervision(env, 78).watchdog is None


def test_nonsense_is_no_watchdog() -> None:
    assert supervision({"WATCHDOG_USEC": "soon"}, 1).watchdog is None
    assert supervision({"WATCHDOG_USEC": "0"}, 1).watchdog is None
