"""What a broker's refusal means, in words that say what to do.

MQTT 5 refuses with a reason code of one byte (OASIS MQTT 5.0, table 2-6); below that the network
and TLS refuse with exceptions. Both become one line: what happened, and what would be right.
"""

from __future__ import annotations

import socket
import ssl
from typing import Final

_CODES: Final = {
    0x81: "malformed packet; is this really an MQTT broker?",
    0x82: "protocol error",
    0x84: "the broker does not speak MQTT 5; use one that does, such as Mosquitto 2",
    0x85: "client id {client} not accepted; choose another `client_id`",
    0x86: "wrong user or password for user {user}; compare with the broker's password file",
    0x87: "user {user} is not authorised; compare user and password with the broker's files",
    0x88: "the broker is not available just now",
    0x89: "the broker is busy",
    0x8A: "client {client} is banned by the broker; lift the ban there",
    0x8B: "the broker is shutting down",
    0x8D: "the broker heard nothing from us within the keep-alive",
    0x8E: "another client came in as {client}; is a second watch running with the same id?",
    0x93: "the broker sent more than Receive Maximum allows",
    0x95: "a message was too large for the broker",
    0x97: "a quota of the broker is used up",
    0x98: "the broker's administrator closed the connection",
    0x9C: "the broker sends us to another server; set `host` to that one",
    0x9D: "the broker has moved; set `host` to the new one",
    0x9F: "too many connections a second for the broker",
}
_TLS_CODES: Final = {
    10: "its certificate has expired; renew the broker's certificate",
    9: "its certificate is not valid yet; compare this machine's clock",
    18: "its certificate is signed by itself; name it, or its authority, in `ca_file`",
    19: "its certificate comes from an unknown authority; name that one in `ca_file`",
    20: "its certificate comes from an unknown authority; name that one in `ca_file`",
    62: "its certificate is made out to another name; set `host` to a name that it carries",
    64: "its certificate is made out to another address; set `host` to a name that it carries",
}
"""OpenSSL verify codes, openssl-verification-options(1)."""
_ALERTS: Final = {
    "CERTIFICATE_EXPIRED": "it finds our client certificate expired; renew `cert_file`",
    "CERTIFICATE_REQUIRED": "it wants a client certificate; set `cert_file` and `key_file`",
    "UNKNOWN_CA": "it does not know the authority of our client certificate `cert_file`",
    "BAD_CERTIFICATE": "it does not accept our client certificate `cert_file`",
    "CERTIFICATE_REVOKED": "our client certificate `cert_file` is revoked",
    "WRONG_VERSION_NUMBER": "no TLS spoken on this port; is it the port without encryption?",
    "UNSUPPORTED_PROTOCOL": "no common TLS version",
}


def refusal(code: int, name: str, *, user: str | None, client: str) -> str:
    """The line for MQTT reason `code`; `name` is what the standard calls it."""
    words = _CODES.get(code, f"refused: {name.lower()}")
    return words.format(user=user or "(none given)", client=client)


def breakdown(error: BaseException, host: str, port: int) -> str:
    """The line for an exception on the way to `host`:`port`. Names no secret."""
    place = f"{host}:{port}"
    if isinstance(error, ssl.SSLError):
        return f"TLS with {place}: {_tls(error)}"
    if isinstance(error, socket.gaierror | UnicodeError):
        return f"name {host!r} not found; is `host` right, and does this machine reach its DNS?"
    if isinstance(error, ConnectionRefusedError):
        return f"nobody listens on {place}; is the broker running, and `port` right?"
    if isinstance(error, ConnectionResetError | BrokenPipeError):
        return f"{place} broke the connection off"
    if isinstance(error, TimeoutError):
        return f"no answer from {place}; is the way there open?"
    if isinstance(error, OSError):
        return f"{place} not reached: {error.strerror or error}"
    return f"{place}: {type(error).__name__}: {error}"


def _tls(error: ssl.SSLError) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return _TLS_CODES.get(error.verify_code, error.verify_message)
    reason: str = getattr(error, "reason", None) or ""
    for key, words in _ALERTS.items():
        if key in reason:
            return words
    return reason.replace("_", " ").lower() or "broken off"
