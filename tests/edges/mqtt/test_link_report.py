"""What befalls the link is told once, and again when something else came between."""

from __future__ import annotations

from kuraban.edges.mqtt.link_report import LinkEvent, LinkReport


def test_the_same_again_is_no_news() -> None:
    told: list[LinkEvent] = []
    report = LinkReport(lambda: 7.0, told.append)
    assert report.reason == ""
    for kind, reason in (("lost", "a"), ("lost", "a"), ("connected", "b"), ("lost", "a")):
        report.tell(kind, reason)  # type: ignore[arg-type]
    assert [(event.kind, event.at) for event in told] == [
        ("lost", 7.0), ("connected", 7.0), ("lost", 7.0),
    ]  # fmt: skip
    assert report.reason == "a"


def test_who_hears_it_cannot_stop_the_network_thread() -> None:
    def fails(_: LinkEvent) -> None:
        raise RuntimeError("a listener's fault")

    report = LinkReport(lambda: 0.0, fails)
    report.tell("full", "100 messages wait")
    assert report.reason == "100 messages wait"
