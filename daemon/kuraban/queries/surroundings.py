"""What stands around the watch and could let it down: broker, clock, disk, phones, certificates.

Each is looked at as it is now, from outside: nothing is written and nobody is rung.
"""

from __future__ import annotations

import ctypes
import os
import shutil
import socket
import ssl
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Literal, NamedTuple

import msgspec

from kuraban.core.timescale import moment_of
from kuraban.core.units import DAY, HOUR
from kuraban.errors import BrokerError, JournalError
from kuraban.queries.journal_state import clock, open_history
from kuraban.settings import Receiver, Settings
from kuraban.settings.paths import journal_of
from kuraban.store.connection import is_there
from kuraban.store.forwarded import Forwarded

Grade = Literal["well", "look", "fault"]
WITHIN = 3.0
"""Seconds that a look at another program may take."""
STILL = 120.0
"""Seconds after which a watch whose last turn is older does not run."""
SCARCE, LITTLE = 200e6, 1e9
"""Bytes: a disk that is as good as full, and one to look after."""
ENDS_SOON = 21 * DAY
UNSYNCHRONISED = 5
"""What adjtimex(2) answers where nothing keeps the clock right."""


class Finding(NamedTuple):
    """`what` was looked at, how it stands, and what to do where that is not well."""

    what: str
    grade: Grade
    says: str
    do: str = ""


def surroundings(settings: Settings, root: Path = Path("/")) -> Iterator[Finding]:
    """Everything around the watch of these settings; the machine's own files are below `root`."""
    yield _broker(settings)
    yield from _journal(settings)
    yield _clock()
    yield _disk(settings.data)
    yield from _card(settings, root)
    yield from _phones(settings)
    yield _pages(settings)
    yield from _certificates(settings)
    for where in settings.receivers:
        yield from _history(settings, where)
    yield from _units(root)


def _broker(settings: Settings) -> Finding:
    from kuraban.edges.mqtt.oneshot import kept

    link = settings.mqtt
    place = f"{link.host}:{link.port}"
    try:
        told = kept(link, f"{link.root}/watch/status", 1.5)
    except BrokerError as error:
        return Finding("broker", "fault", str(error), "see it with: systemctl status mosquitto")
    try:
        word = str(msgspec.json.decode(told or b"{}")["status"])
    except (msgspec.MsgspecError, KeyError, TypeError):
        word = "nothing"
    says = f"{place} reached; of the watch it says: {word}"
    if word == "watching":
        return Finding("broker", "well", says)
    return Finding("broker", "look", says, "start the watch: systemctl start kuraban")


def _journal(settings: Settings) -> Iterator[Finding]:
    """How old the last turn is, what waits for phones, and what was not taken by one."""
    path = journal_of(settings)
    try:
        history = open_history(path)
    except JournalError as error:
        yield Finding("journal", "fault", str(error))
        return
    try:
        now, last = moment_of(clock(), settings.house.zone), history.now()
        waiting, failed = history.unsent(), history.last_failure()
    except JournalError as error:
        right = "see what it is: kuraban journal verify"
        yield Finding("journal", "fault", str(error), right)
        return
    finally:
        history.close()
    if last is None or now - last > STILL:
        since = "never" if last is None else f"{(now - last) / 60:.0f} min ago"
        right = "start the watch, or see why it stands: journalctl -u kuraban"
        yield Finding("watch", "fault", f"last wrote {since}", right)
    else:
        yield Finding("watch", "well", f"last wrote {max(now - last, 0.0):.0f} s ago")
    if failed is not None and now - failed[0] < DAY:
        ago = f"{(now - failed[0]) / HOUR:.0f} h ago"
        right = "try each phone: kuraban page-test --all"
        yield Finding("messages", "look", f"{waiting} wait; {ago} one failed: {failed[1]}", right)
    else:
        yield Finding("messages", "well", f"{waiting} wait, none failed for a day")


def _clock() -> Finding:
    if sys.platform != "linux":
        return Finding("clock", "look", "nobody here says whether it is kept right")
    libc, timex = ctypes.CDLL(None), ctypes.create_string_buffer(512)  # zeros: only asked
    if libc.adjtimex(timex) != UNSYNCHRONISED:
        return Finding("clock", "well", "kept right by the network")
    right = "timedatectl set-ntp true, or install a time service (chrony, systemd-timesyncd)"
    return Finding("clock", "look", "nothing keeps it right; it will drift by seconds a day", right)


def _disk(data: Path) -> Finding:
    there = next((one for one in (data, *data.parents) if one.is_dir()), Path("/"))
    if os.statvfs(there).f_flag & os.ST_RDONLY:
        right = "the disk may be failing: look at dmesg, then mount it writable"
        return Finding("disk", "fault", f"{there} cannot be written", right)
    free = shutil.disk_usage(there).free
    says = f"{free / 1e9:.1f} GB free at {there}"
    if free > LITTLE:
        return Finding("disk", "well", says)
    right = "make room, or shorten days and minute_days under [keep]"
    return Finding("disk", "fault" if free < SCARCE else "look", says, right)


def _card(settings: Settings, root: Path) -> Iterator[Finding]:
    """A word where the journal lies on a memory card, which wears by each write."""
    with suppress(OSError):
        device = os.stat(settings.data).st_dev
        node = root / f"sys/dev/block/{os.major(device)}:{os.minor(device)}"
        if not node.resolve().name.startswith("mmcblk"):
            return
        says = f"the journal lies on one, a turn is written every {settings.mqtt.turn:g} s"
        if settings.mqtt.turn >= 1:
            yield Finding("memory card", "well", says)
        else:
            right = "turn = 2 under [mqtt] spares it; better, put the journal on an SSD"
            yield Finding("memory card", "look", says, right)


def _phones(settings: Settings) -> Iterator[Finding]:
    people = settings.house.people
    silent = [one.name for one in people if not settings.addresses[one.id].pages]
    if not people or silent:
        whom = ", ".join(silent) or "nobody is in the site file"
        right = "give pages to a [[person]], then: kuraban page-test --all"
        says = f"no address for {whom}" if silent else whom
        yield Finding("phones", "fault" if len(silent) == len(people) else "look", says, right)
    else:
        yield Finding("phones", "well", f"an address for each of {len(people)}")
    if settings.outward.ping is None:
        right = "name an address under [watch] ping that rings when it is no longer called"
        yield Finding("sign of life", "look", "nobody outside hears if this machine dies", right)


def _pages(settings: Settings) -> Finding:
    web = settings.web
    if web is None:
        return Finding("pages", "well", "none wanted: there is no table [web]")
    host = "127.0.0.1" if web.host in ("0.0.0.0", "::") else web.host
    try:
        with socket.create_connection((host, web.port), WITHIN):
            return Finding("pages", "well", f"somebody listens at {web.host}:{web.port}")
    except OSError as error:
        right = "journalctl -u kuraban says why; the watch needs kuraban[web] for them"
        says = f"nobody answers at {web.host}:{web.port}: {error.strerror or error}"
        return Finding("pages", "fault", says, right)


def _certificates(settings: Settings) -> Iterator[Finding]:
    """For how long those of the pages and of the broker hold."""
    web, link = settings.web, settings.mqtt
    if web is not None and web.cert_file is not None:
        host = "127.0.0.1" if web.host in ("0.0.0.0", "::") else web.host
        yield _certificate("pages' certificate", host, web.port, web.cert_file)
    if link.ca_file is not None:
        yield _certificate("broker's certificate", link.host, link.port, link.ca_file)


def _certificate(what: str, host: str, port: int, trusted: Path) -> Finding:
    """Of whoever listens there. A server's own certificate may be the one that is trusted."""
    right = "have it made anew; deploy/mosquitto/README.md shows how"
    try:
        context = ssl.create_default_context(cafile=trusted)
        context.verify_flags |= ssl.VERIFY_X509_PARTIAL_CHAIN
        context.check_hostname = False
        with (
            socket.create_connection((host, port), WITHIN) as sock,
            context.wrap_socket(sock) as tls,
        ):
            ends = ssl.cert_time_to_seconds(str((tls.getpeercert() or {})["notAfter"]))
    except (OSError, KeyError, ValueError) as error:
        why = getattr(error, "verify_message", "") or str(error)
        return Finding(what, "fault", f"{host}:{port}: {why}", right)
    rest = ends - clock()
    says = f"holds for {rest / DAY:.0f} days"
    return Finding(what, "look", says, right) if rest < ENDS_SOON else Finding(what, "well", says)


def _history(settings: Settings, where: Receiver) -> Iterator[Finding]:
    path = journal_of(settings)
    try:
        if not is_there(path):
            return
        forwarded = Forwarded(path, where.name, "ro")
        try:
            held = forwarded.progress()
        finally:
            forwarded.close()
    except JournalError as error:
        yield Finding("long history", "fault", str(error))
        return
    late = held.oldest is not None and moment_of(clock(), settings.house.zone) - held.oldest > HOUR
    says = f"{where.url}: {held.waiting} rows wait, {held.set_aside} were refused by it"
    if late or held.set_aside:
        right = "see that the engine runs and takes the token, or that the folder can be written; "
        right += "kuraban journal aside shows refusals"
        yield Finding("long history", "look", says, right)
    else:
        yield Finding("long history", "well", says)


def _units(root: Path) -> Iterator[Finding]:
    """Whether the machine starts the watch, rings when it fails, and copies its journal."""
    if not (root / "run/systemd/system").is_dir():
        right = "whoever starts the watch here must start it anew, and tell people when it is down"
        yield Finding("units", "look", "this machine is not run by systemd", right)
        return
    etc = root / "etc/systemd/system"
    for unit, wanted in (
        ("kuraban.service", "multi-user.target.wants"),
        ("kuraban-backup.timer", "timers.target.wants"),
    ):
        right = f"systemctl enable --now {unit}"
        enabled = (etc / wanted / unit).is_symlink()
        says = f"{unit} starts with the machine" if enabled else f"{unit} is not started by itself"
        yield Finding("units", "well" if enabled else "fault", says, "" if enabled else right)
    second = (etc / "kuraban-down.service").is_file()
    says = "kuraban-down.service rings when the watch is down" if second else (
        "nobody is rung when the watch is down"
    )  # fmt: skip
    right = "" if second else "sudo deploy/install lays kuraban-down.service"
    yield Finding("second unit", "well" if second else "fault", says, right)
