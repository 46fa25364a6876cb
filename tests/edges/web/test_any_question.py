"""Whatever a program asks of the API, nothing breaks: made up from its own OpenAPI document."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
)

from kuraban.edges.web.live.snapshot_hub import SnapshotHub
from kuraban.edges.web.server import Pages
from kuraban.queries.batches.batch_sheet import Batches
from kuraban.queries.setup.unknown_probes import SettingUp
from kuraban.queries.why import Why
from kuraban.settings import Web as Where
from kuraban.settings.catalogues import load_page_words
from tests.edges.web.conftest import KEY
from tests.edges.web.served import Served

MANY = settings(
    max_examples=60, deadline=None, derandomize=True, database=None,
    phases=[Phase.explicit, Phase.generate], suppress_health_check=list(HealthCheck),
)  # fmt: skip


@pytest.fixture
def document(served: Served) -> Iterator[Any]:
    hub = SnapshotHub()
    hub.put(served.snapshot())
    pages = Pages(
        served.settings.house, Where(port=0), KEY, load_page_words(), hub, served.path,
        served.submit, served.clock, SettingUp(served.settings),
        Batches(served.settings.house, served.path),
        Why(served.path, load_page_words()),
    )  # fmt: skip
    at = f"http://127.0.0.1:{pages.start()}"
    yield schemathesis.openapi.from_url(f"{at}/api/v1/openapi.json")
    pages.stop()


@pytest.mark.slow
def test_no_question_breaks_the_pages(document: Any) -> None:
    """No server error, and each answer as the document says, sixty made-up questions a path."""
    checks = [not_a_server_error, content_type_conformance, response_schema_conformance]
    operations = [found.ok() for found in document.get_all_operations()]
    assert len(operations) >= 4
    for operation in operations:

        @MANY
        @given(case=operation.as_strategy())
        def ask(case: schemathesis.Case) -> None:
            case.call_and_validate(checks=checks)

        ask()
