"""Readings out of the engine that keeps the long history.

Engines take the same writes and are asked in different ways. Flux belongs to the same interface as
the writes (`/api/v2/query`); one that does not know it, as VictoriaMetrics, exports lines of CSV.
Which way an engine has is found out by asking it.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import msgspec
from influxdb_client.client.flux_csv_parser import FluxCsvParserException
from influxdb_client.rest import ApiException

from kuraban.edges.history.forwarder import ANSWER_WITHIN, Where
from kuraban.edges.history.influx_writer import client_of, said
from kuraban.edges.history.line_protocol import tag_value
from kuraban.errors import MachineError

FLUX = """
from(bucket: _bucket)
    |> range(start: _start, stop: _stop)
    |> filter(fn: (r) => r._measurement == "reading" and r._field == "value")
    |> filter(fn: (r) => r.probe == _probe and r.site == _site)
    |> keep(columns: ["_time", "_value"])
"""
EXPORT = "/api/v1/export/csv"
UNKNOWN = frozenset({400, 404, 405, 501})
"""What an engine answers that has no Flux."""
BARS = frozenset({401, 403})
Readings = list[tuple[float, float]]


class EngineReader:
    """Asks the engine `to` for readings of the house that it knows by the tag `site`."""

    def __init__(self, to: Where, site: str, answer_within: float = ANSWER_WITHIN) -> None:
        self._to, self._site = to, tag_value(site)
        self._client = client_of(to.url, to.org, to.token, answer_within, to.ca_file)
        self._exports = False

    def __call__(self, probe: str, start: float, end: float) -> Readings:
        """(time, value) of one probe from `start` to `end`, the wall clock's Unix seconds, in no
        order, a batch after the other; MachineError with what the engine said."""
        try:
            if self._exports:
                return self._exported(probe, start, end)
            return self._by_either(probe, start, end)
        except ApiException as refused:
            told = said(refused, self._to.token)
            barred = "the token of [history] must be allowed to read: "
            raise MachineError(f"{barred * (refused.status in BARS)}{told}") from refused
        except (ValueError, TypeError, LookupError, FluxCsvParserException) as error:
            raise MachineError("it answered what are no readings") from error
        except Exception as error:
            raise MachineError(f"it was not reached ({type(error).__name__})") from error

    def _by_either(self, probe: str, start: float, end: float) -> Readings:
        try:
            return self._by_flux(probe, start, end)
        except ApiException as flux:
            if flux.status not in UNKNOWN:
                raise
            try:
                found = self._exported(probe, start, end)
            except (ApiException, ValueError) as neither:
                raise flux from neither
        self._exports = True
        return found

    def _by_flux(self, probe: str, start: float, end: float) -> Readings:
        asked = {
            "_bucket": self._to.bucket, "_probe": probe, "_site": self._site,
            "_start": datetime.fromtimestamp(start, UTC), "_stop": datetime.fromtimestamp(end, UTC),
        }  # fmt: skip
        told = self._client.query_api().query_stream(FLUX, params=asked)
        return [(one["_time"].timestamp(), float(one["_value"])) for one in told]

    def _exported(self, probe: str, start: float, end: float) -> Readings:
        labels = {"__name__": "reading_value", "probe": probe, "site": self._site}
        shown = (f"{name}={msgspec.json.encode(text).decode()}" for name, text in labels.items())
        asked = {
            "match[]": f"{{{','.join(shown)}}}", "format": "__timestamp__:unix_ms,__value__",
            "start": f"{start:.3f}", "end": f"{end:.3f}",
        }  # fmt: skip
        api: Any = self._client.api_client
        answer = api.call_api(
            EXPORT, "GET", query_params=[*asked.items()],
            _preload_content=False, _return_http_data_only=True,
        )  # fmt: skip
        rows = (line.split(",") for line in answer.data.decode().splitlines())
        return [(int(at) / 1000, float(value)) for at, value in rows]
