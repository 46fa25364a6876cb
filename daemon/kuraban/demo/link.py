"""Where a visitor opens the pages of the demo: on this machine, and with `--lan` on a phone too."""

from __future__ import annotations

import io
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import suppress

from kuraban.errors import ConfigurationError, Fault
from kuraban.settings.model import Web

OPENS = (
    "Whoever is in the same network can open that and tap. It is not encrypted, and",
    "ends with the demo. Nothing but the invented brewery is behind it.",
)
ELSEWHERE = "192.0.2.1"
"""An address that is nobody's (RFC 5737): to ask which of ours would be used; nothing is sent."""


def free_port() -> int:
    """A port of loopback that nobody has at this moment."""
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def pages_of(*, lan: bool) -> Web:
    """Where the demo's pages listen: loopback alone, or every network of this machine.

    ConfigurationError where it is in no network.
    """
    if not lan:
        return Web(port=free_port())
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        try:
            sock.connect((ELSEWHERE, 9))
            own = str(sock.getsockname()[0])
        except OSError:
            right = "join the Wi-Fi first, or leave --lan out and open the pages on this machine"
            wrong = "this machine is in no network"
            raise ConfigurationError([Fault("command line", "--lan", wrong, right)]) from None
    port = free_port()
    return Web("0.0.0.0", port, public=f"http://{own}:{port}")


def answers(port: int, going_on: Callable[[], bool], within: float = 15.0) -> bool:
    """Whether somebody listens at that port of loopback before the time is over."""
    deadline = time.monotonic() + within
    while time.monotonic() < deadline and going_on():
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), 0.5):
            return True
    return False


def lines(web: Web) -> Iterator[str]:
    """The link, and for a phone its picture and a word on what that opens."""
    yield f"The pages: http://127.0.0.1:{web.port}/  (open it, and tap as Aki or Ken would)"
    if web.public is None:
        return
    yield f"On a phone: {web.public}/"
    yield from OPENS
    yield from drawn(f"{web.public}/")


def drawn(text: str) -> list[str]:
    """A QR code (ISO/IEC 18004) in light blocks, for a dark window; phones read the other way too.

    ConfigurationError where its library is not installed.
    """
    try:
        import segno
    except ImportError:
        right = "pip install 'kuraban[demo]', or start ./deploy/demo"
        fault = Fault("demo", "segno", "what draws the code is not installed", right)
        raise ConfigurationError([fault]) from None
    out = io.StringIO()
    segno.make(text, micro=False).terminal(out, compact=True, border=2)
    return out.getvalue().splitlines()
