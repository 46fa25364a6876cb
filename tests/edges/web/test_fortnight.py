"""Fourteen days of one-minute data of one place, over HTTP as a phone asks for them."""

from __future__ import annotations

import dataclasses
import math
import time
from collections.abc import Iterator

import httpx
import pytest

from kuraban.core.effects import Turn
from kuraban.core.facts import Reading
from kuraban.core.units import DAY, MINUTE
from kuraban.edges.web.live.snapshot_hub import SnapshotHub
from kuraban.edges.web.server import Pages
from kuraban.queries.batches.batch_sheet import Batches
from kuraban.queries.setup.unknown_probes import SettingUp
from kuraban.settings import Web as Where
from kuraban.settings.catalogues import load_page_words
from kuraban.store.journal import Journal
from tests.edges.web.conftest import KEY
from tests.edges.web.served import Served

PLACE, PROBE = "tank-3", "t3-mid"
DAYS = 14
WITHIN = 0.3
"""Seconds of processor time until all of an answer is there, its reader's part in it."""
TRIES = 5
"""The quickest counts."""


@pytest.fixture(scope="module")
def client(lived: Served, tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    """Pages of a tank whose mash and whose probe go back fourteen days."""
    night = lived.twin(tmp_path_factory.mktemp("fortnight"))
    start, snapshot = night.clock() - DAYS * DAY, night.snapshot()
    begun = lived.engine.view.probe_states[PROBE].series.times[0]
    times = [start + n * MINUTE for n in range(int((begun - start) / MINUTE))]
    facts = [Reading(PROBE, at, 10 + math.sin(at / DAY), at) for at in times]
    with_them = Journal.open(night.path)
    with_them.commit(Turn(now=night.clock(), facts=facts))
    with_them.close()
    places = tuple(
        dataclasses.replace(one, batch=dataclasses.replace(one.batch, since=start))
        if one.id == PLACE and one.batch is not None
        else one
        for one in snapshot.places
    )
    hub = SnapshotHub()
    hub.put(dataclasses.replace(snapshot, places=places))
    pages = Pages(
        night.settings.house, Where(port=0), KEY, load_page_words(), hub, night.path,
        night.submit, night.clock, SettingUp(night.settings),
        Batches(night.settings.house, night.path),
    )  # fmt: skip
    with httpx.Client(base_url=f"http://127.0.0.1:{pages.start()}") as browser:
        yield browser
    pages.stop()
    night.close()


@pytest.mark.parametrize(
    "asked",
    [
        "/place/{place}?range=batch",
        "/place/{place}/curve.svg?range=batch",
        "/place/{place}/curve.json?range=batch",
        "/api/v1/places/{place}/readings?start={start}",
        "/api/v1/places/{place}/readings?start={start}&format=csv",
        "/api/v1/places/{place}/readings?start={start}&format=jsonl",
    ],
)
def test_fourteen_days_of_a_place_take_300_ms_at_most(
    client: httpx.Client, lived: Served, asked: str
) -> None:
    """Page, curve, readout and every reading of them: 20 000 rows in the last three."""
    address = asked.format(place=PLACE, start=lived.clock() - DAYS * DAY)
    took, answer = [], client.get(address)
    for _ in range(TRIES):
        began = time.process_time()
        answer = client.get(address)
        took.append(time.process_time() - began)
    assert answer.status_code == 200
    if "readings" in address:
        assert answer.text.count(PROBE) >= 0.98 * DAYS * 1440
    assert min(took) <= WITHIN, took
