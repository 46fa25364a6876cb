"""The watch for a monitoring of one's own: OpenMetrics 1.0 text."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from fastapi import APIRouter
from fastapi.responses import Response

from kuraban.core.views.snapshot import Snapshot
from kuraban.edges.web.page_context import Context, Somebody

router = APIRouter(include_in_schema=False)

KIND = "application/openmetrics-text; version=1.0.0; charset=utf-8"
Sample = tuple[dict[str, str], float]


@router.get("/metrics")
def metrics(context: Context, visitor: Somebody) -> Response:
    return Response("".join(lines(context.snapshot(), context.clock())), media_type=KIND)


def lines(snapshot: Snapshot, now: float) -> Iterator[str]:
    """Every metric family, and the end mark."""
    yield from _gauge(
        "kuraban_judged_age", "Seconds since the moment up to which the watch has judged.",
        [({}, now - snapshot.at)], "seconds",
    )  # fmt: skip
    yield from _gauge(
        "kuraban_product", "Product of a place, or its air or water, filtered.",
        [({"place": p.id}, p.product) for p in snapshot.places if p.product is not None], "celsius",
    )  # fmt: skip
    yield from _gauge(
        "kuraban_planned", "Plan in force.",
        [({"place": p.id}, p.planned) for p in snapshot.places if p.planned is not None], "celsius",
    )  # fmt: skip
    yield from _gauge(
        "kuraban_value_age", "Seconds since the value was measured.",
        [({"place": p.id}, now - p.at) for p in snapshot.places if p.at is not None], "seconds",
    )  # fmt: skip
    yield from _gauge(
        "kuraban_judged", "Whether a place is judged.",
        [({"place": p.id}, float(p.why is None)) for p in snapshot.places],
    )  # fmt: skip
    yield from _gauge(
        "kuraban_alarm", "An alarm on the list, by its state.",
        [
            ({"subject": r.subject, "condition": r.condition, "state": r.state,
              "urgency": r.urgency}, 1.0)
            for r in snapshot.rings
        ],
    )  # fmt: skip
    yield "# EOF\n"


def _gauge(name: str, words: str, samples: Iterable[Sample], unit: str = "") -> Iterator[str]:
    full = f"{name}_{unit}" if unit else name
    yield f"# TYPE {full} gauge\n"
    if unit:
        yield f"# UNIT {full} {unit}\n"
    yield f"# HELP {full} {words}\n"
    for labels, value in samples:
        told = ",".join(f'{key}="{_escaped(text)}"' for key, text in labels.items())
        yield f"{full}{{{told}}} {value:.6g}\n" if told else f"{full} {value:.6g}\n"


def _escaped(text: str) -> str:
    return text.replace("\\", r"\\").replace('"', r"\"").replace("\n", r"\n")
