"""Calendars from outside: what is wrong is named at once, and the watch goes on without them."""

from __future__ import annotations

import signal
import subprocess
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from kuraban.settings.files import calendar_child
from kuraban.settings.files.calendar_child import read_apart
from tests.cli.conftest import KURABAN, Type, site, type_in
from tests.sink import Sink
from tests.stopwatch import Stopwatch

__all__ = ["site", "type_in"]

NIGHT = "SUMMARY:night of Aki\nDTSTART:20260205T180000\nDTEND:20260206T060000\n"
TOKYO = ZoneInfo("Asia/Tokyo")
NOW = 1_770_145_800.0
"""2026-02-04 03:50 in Japan."""


def calendar(*events: str) -> bytes:
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Nowhere//rota//EN"]
    for number, event in enumerate(events):
        uid = [] if "UID:" in event else [f"UID:e{number}"]
        lines += ["BEGIN:VEVENT", *uid, *event.split("\n"), "END:VEVENT"]
    return "\r\n".join(line for line in (*lines, "END:VCALENDAR", "") if line).encode() + b"\r\n"


WRONG = {
    "a rule by the second, 300 times": (
        calendar(*[NIGHT + "RRULE:FREQ=SECONDLY"] * 300), "'night of Aki': it recurs",
    ),
    "60,000 events": (calendar(*["DTSTART:20260205T180000"] * 60_000), "60000 events; 4000"),
    "100,000 dates left out": (
        calendar(NIGHT + "RRULE:FREQ=DAILY\n" + "EXDATE:20260301T180000\n" * 100_000),
        "lines; 50000",
    ),
    "a rule every 0 days": (calendar(NIGHT + "RRULE:FREQ=DAILY;INTERVAL=0"), "INTERVAL=1 or more"),
    "a month 13": (
        calendar("SUMMARY:night of Aki\nDTSTART:20261305T180000"),
        "'night of Aki': DTSTART cannot be read: '20261305T180000'; write DTSTART:20260205T180000",
    ),
    "an end in words": (
        calendar("SUMMARY:Aki\nDTSTART:20260205T180000\nDTEND:late"), "cannot be read: 'late'",
    ),
    "an hour 25": (calendar("SUMMARY:Aki\nDTSTART:20260205T250000"), "DTSTART cannot be read"),
    "a length beyond all": (
        calendar("SUMMARY:Aki\nDTSTART:20260205T180000\nDURATION:PT99999999999999H"), "PT12H",
    ),
    "a count beyond all": (calendar(NIGHT + "RRULE:FREQ=DAILY;COUNT=999999999999"), "RRULE cannot"),
    "two beginnings": (calendar(NIGHT + "DTSTART:20260205T190000"), "it has 2 DTSTART; give one"),
    "a period for a start": (
        calendar("SUMMARY:Aki\nDTSTART:20260205T180000/PT1H"), "'Aki': its start is no time",
    ),
    "two identities": (calendar(NIGHT + "UID:a\nUID:b"), "'night of Aki': it has 2 UID; give one"),
    "no calendar": (b"\x1f\x8b\x08 \xff\xfe", "is no calendar that can be read"),
}  # fmt: skip


@pytest.mark.parametrize(("written", "told"), WRONG.values(), ids=list(WRONG))
def test_what_is_wrong_is_named_within_two_seconds(
    tmp_path: Path, written: bytes, told: str
) -> None:
    path = tmp_path / "duty.ics"
    path.write_bytes(written)
    took = Stopwatch()
    found = read_apart(path, TOKYO, NOW)
    assert told in found.wrong and not found.duties
    assert took.read() < 2


@pytest.mark.parametrize("rule", ["BYMONTH=2;BYMONTHDAY=30", "BYDAY=MO;INTERVAL=7"])
def test_a_rule_that_never_comes_true_is_given_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, rule: str
) -> None:
    """Whoever follows it looks until the year 9999."""
    monkeypatch.setattr(calendar_child, "LONGEST", 2.0)
    path = tmp_path / "duty.ics"
    path.write_bytes(calendar(*[NIGHT + f"RRULE:FREQ=DAILY;{rule}"] * 40))
    took = Stopwatch()
    found = read_apart(path, TOKYO, NOW)
    assert "longer than 2 s" in found.wrong and "'night of Aki'" in found.wrong
    assert took.read() < 4


def test_check_names_file_event_and_what_would_be_right(site: Path, type_in: Type) -> None:
    (site.parent / "duty.ics").write_bytes(WRONG["a month 13"][0])
    with site.open("a", encoding="utf-8") as file:
        file.write('\n[[calendar]]\nrole = "brewer"\nfile = "duty.ics"\n')
    shown = type_in("check", "--site", site)
    assert shown.exit_code == 2
    (line,) = shown.stderr.splitlines()
    for part in (str(site), "calendar[#1].file", "duty.ics", "night of Aki", "20260205T180000"):
        assert part in line


@pytest.mark.timeout(60)
def test_the_watch_goes_on_without_it_and_tells_maintenance(site: Path) -> None:
    """It does not end, the rota of the site file stands, and Ken hears which file it is."""
    (site.parent / "duty.ics").write_bytes(WRONG["a rule by the second, 300 times"][0])
    with Sink() as sink:
        text = site.read_text("utf-8").replace("127.0.0.1:9800", f"127.0.0.1:{sink.port}")
        more = '\n[[calendar]]\nrole = "brewer"\nfile = "duty.ics"\n'
        site.write_text(text.replace("port = 1883", "port = 1", 1) + more, "utf-8")
        watch = subprocess.Popen([*KURABAN, "run", "--site", site], stderr=subprocess.PIPE)
        rungs = sink.await_count(1, 30)
        watch.send_signal(signal.SIGTERM)
        _, log = watch.communicate(timeout=20)
    assert watch.returncode == 0
    assert [(rung.path, rung.title) for rung in rungs] == [
        ("/ken", "A duty calendar cannot be read")
    ]
    assert "duty.ics" in rungs[0].body and "night of Aki" in rungs[0].body
    assert b"the house's duty goes on without it" in log and b"Traceback" not in log
