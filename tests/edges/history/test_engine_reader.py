"""Readings come back out of the engine as they were read, whichever way it can be asked."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from kuraban.edges.history.engine_reader import EngineReader
from kuraban.edges.history.influx_writer import Receiver as Writer
from kuraban.errors import MachineError
from kuraban.settings import Receiver
from tests.broker import free_port
from tests.engines import Strict, VictoriaMetrics

AT = 1_769_883_000.0
SITE = 'Kura "No. 2", \\ 蔵'
TAG = r"Kura\ \"No.\ 2\"\,\ /\ 蔵".replace(r"\"", '"')


@pytest.fixture
def strict() -> Iterator[Strict]:
    engine = Strict("abc-123")
    yield engine
    engine.close()


def reader(url: str, token: str | None = "abc-123", answer_within: float = 5.0) -> EngineReader:
    return EngineReader(Receiver(url, "sake", token=token), SITE, answer_within)


def trouble(engine: EngineReader) -> str:
    with pytest.raises(MachineError) as told:
        engine("t3-mid", AT, AT + 60)
    assert "\n" not in str(told.value) and "abc-123" not in str(told.value)
    return str(told.value)


@pytest.mark.needs("victoria-metrics")
def test_victoria_metrics_gives_back_what_it_was_given(tmp_path: Path) -> None:
    """Of that probe and house, in that span; from one batch to the next it is one probe."""
    lines = [
        f"reading,probe={probe},site={site}{batch} value={value!r} {(AT + n) * 1e9:.0f}"
        for probe, site in (("t3-mid", TAG), ("t2-mid", TAG), ("t3-mid", "other"))
        for batch, n, value in (("", 0, 10.0625), (",zbatch=8", 10, -3e-05), (",zbatch=9", 90, 1.0))
    ]
    with VictoriaMetrics(tmp_path) as server:
        writer = Writer(server.url, "kuraban", "sake")
        assert writer.write(lines).kind == "taken"
        writer.close()
        server.series("reading_value")
        ask = reader(server.url)
        assert sorted(ask("t3-mid", AT, AT + 60)) == [(AT, 10.0625), (AT + 10, -3e-05)]
        assert ask("t3-mid", AT + 200, AT + 300) == [] == ask("t9", AT, AT + 60)


ANSWERED = """\
#datatype,string,long,dateTime:RFC3339,double
#group,false,false,false,false
#default,_result,,,
,result,table,_time,_value
,,0,2026-01-31T18:10:00.123456789Z,10.0625
,,0,2026-01-31T18:10:10Z,-0.00003

"""
"""The form of an answer in annotated CSV, after InfluxData's description of it."""


def test_flux_is_asked_where_it_is_known(strict: Strict) -> None:
    """Bucket, probe, house and span go along as values, so that no name is a command."""
    strict.answers = ANSWERED.encode()
    found = reader(strict.url)("t3-mid", AT, AT + 60)
    assert found == [(AT + 0.123456, 10.0625), (AT + 10, -3e-05)]
    asked = json.loads(strict.bodies[0])
    assert "r.probe == _probe" in asked["query"] and "蔵" not in asked["query"]
    given = {
        one["assignment"]["id"]["name"]: one["assignment"]["init"]["value"]
        for one in asked["extern"]["body"]
    }
    assert given["_site"] == 'Kura "No. 2", / 蔵' and given["_bucket"] == "sake"
    assert datetime.fromisoformat(given["_start"]) == datetime.fromtimestamp(AT, UTC)


def test_an_engine_that_does_not_tell_says_why_in_a_line(strict: Strict) -> None:
    assert "not reached (NewConnectionError)" in trouble(reader(f"http://127.0.0.1:{free_port()}"))
    assert trouble(reader(strict.url, "wrong")).startswith("the token of [history] must be allowed")
    strict.answers = b"<html>welcome</html>"
    assert trouble(reader(strict.url)) == "it answered what are no readings"
    strict.answers = None
    assert trouble(reader(strict.url)).startswith("it answered 404")
    strict.mode = "hang"
    assert "not reached (ReadTimeoutError)" in trouble(reader(strict.url, answer_within=0.3))
