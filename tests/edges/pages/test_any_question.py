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

from kuraban.asking.setting_up import SettingUp
from kuraban.asking.sheet import Batches
from kuraban.edges.pages.board import PictureBoard
from kuraban.edges.pages.server import Pages
from kuraban.settings import Pages as Where
from kuraban.settings.words import load_page_words
from tests.edges.pages.conftest import KEY
from tests.edges.pages.served import Served

MANY = settings(
    max_examples=60, deadline=None, derandomize=True, database=None,
    phases=[Phase.explicit, Phase.generate], suppress_health_check=list(HealthCheck),
)  # fmt: skip


@pytest.fixture
def document(served: Served) -> Iterator[Any]:
    board = PictureBoard()
    board.put(served.picture())
    pages = Pages(
        served.settings.house, Where(port=0), KEY, load_page_words(), board, served.path,
        served.submit, served.clock, SettingUp(served.settings),
        Batches(served.settings.house, served.path),
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
