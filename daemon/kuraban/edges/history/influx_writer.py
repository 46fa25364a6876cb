"""The engine that keeps the long history: one write at a time, and what its answer means.

Any engine that takes line protocol at `/api/v2/write`. Written synchronously: the client library's
batching mode can lose points and say nothing. The token is a secret: it goes into the header alone,
and is struck out of whatever an engine answers.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Sequence
from contextlib import suppress
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any, Final

from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.rest import ApiException
from influxdb_client.service.write_service import WriteService

from kuraban.edges.history.answer import TAKEN, Answer

CONNECT_WITHIN: Final = 4.0
REFUSES_US: Final = frozenset({401, 403, 404, 405, 407, 410, 415, 421})
"""The token, the bucket or the address is wrong: no point is to blame."""
UNKNOWN_TOKEN: Final = "auth token"
"""The proxy of VictoriaMetrics (1.79) answers 400 to a token that it does not know."""
COME_AGAIN: Final = frozenset({408, 409, 425, 429})
LONGEST_REASON: Final = 200
STRANGERS: Final = ("unable to get local issuer certificate", "self-signed certificate")
"""What OpenSSL says of a certificate that nobody known vouches for."""

for _name in ("influxdb_client", "urllib3"):
    logging.getLogger(_name).setLevel(logging.CRITICAL + 1)
logging.getLogger().addFilter(lambda record: "influxdb_client" not in record.pathname)
"""The library tells the root logger, too, what an engine said."""


class Receiver:
    """One engine, bucket and token. Nothing is sent before the first `write`.

    `ca_file` is the certificate of whoever vouches for the engine, None for the public authorities.
    """

    def __init__(
        self,
        url: str,
        org: str,
        bucket: str,
        token: str | None = None,
        answer_within: float = 10.0,
        ca_file: Path | None = None,
    ) -> None:
        self._org, self._bucket, self._token = org, bucket, token
        self._client = client_of(url, org, token, answer_within, ca_file)
        self._api = self._client.write_api(write_options=SYNCHRONOUS)

    def write(self, lines: Sequence[str]) -> Answer:
        """Blocks until it is known what became of the lines. Does not raise."""
        body = "\n".join(lines).encode()
        try:
            try:
                self._api.write(self._bucket, record=body)
            except UnicodeDecodeError:
                self._write_unread(body)
        except ApiException as refused:
            return self._meant(refused)
        except Exception as error:
            return Answer("away", f"it was not reached ({type(error).__name__})")
        return TAKEN

    def close(self) -> None:
        self._client.close()  # type: ignore[no-untyped-call]

    def _write_unread(self, body: bytes) -> None:
        """The same for an engine whose answer is no UTF-8, such as a refusal cut off in a word."""
        service: Any = WriteService(self._client.api_client)  # type: ignore[no-untyped-call]
        service.post_write(
            self._org, self._bucket, body, precision="ns",
            content_type="text/plain; charset=utf-8", _preload_content=False,
        )  # fmt: skip

    def _meant(self, refused: ApiException) -> Answer:
        status = refused.status or 0
        told = said(refused, self._token)
        if status in REFUSES_US or UNKNOWN_TOKEN in told:
            return Answer("away", f"it refuses us, see url, org, bucket and token: {told}")
        if 400 <= status < 500 and status not in COME_AGAIN:
            return Answer("refused", told)
        return Answer("away", told, _pause(refused.headers or {}))


def client_of(
    url: str, org: str, token: str | None, answer_within: float, ca_file: Path | None
) -> InfluxDBClient:
    patience = (CONNECT_WITHIN * 1000, answer_within * 1000)
    vouches = None if ca_file is None else str(ca_file)
    return InfluxDBClient(url, token or "", org=org, timeout=patience, ssl_ca_cert=vouches)


def said(refused: ApiException, token: str | None) -> str:
    """Status and words of an answer in one line, without the token."""
    body: Any = refused.body or ("" if refused.status else refused.reason) or ""
    text = body if isinstance(body, str) else bytes(body).decode(errors="replace")
    with suppress(ValueError, KeyError, TypeError):
        text = str(json.loads(text)["message"])
    if token:
        text = text.replace(token, "***")
    words = " ".join(text.split())[:LONGEST_REASON]
    answered = f"it answered {refused.status}" if refused.status else "no safe connection"
    if any(stranger in words for stranger in STRANGERS):
        return f"{answered}, name its authority in ca_file: {words}"
    return f"{answered}, {words}" if words else answered


def _pause(headers: Any) -> float:
    """Seconds that Retry-After asks for (RFC 9110, 10.2.3), 0 where it asks for none.

    A date there counts from the answer's own, by the one clock that both are of.
    """
    told = {name.lower(): str(value) for name, value in headers.items()}
    asked = told.get("retry-after", "")
    try:
        if asked.strip().isdecimal():
            return float(asked)
        until, since = (parsedate_to_datetime(told.get(n, "")) for n in ("retry-after", "date"))
        return max((until - since).total_seconds(), 0.0)
    except (ValueError, TypeError, OverflowError):
        return 0.0
