"""From a site file, its course files and the environment to `Settings`."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

import msgspec

from kuraban.core.planned_curve import Course
from kuraban.core.site import Cooler, Duty, House, Person, Place, Probe, Site
from kuraban.core.units import DAY
from kuraban.errors import ConfigurationError, Fault
from kuraban.settings.checks.advice import advise
from kuraban.settings.checks.calendars import (
    absences,
    manning,
    read_calendars,
    shifts,
    unread,
    words_on,
)
from kuraban.settings.checks.history_target import months, receiver, receiving, receiving_words
from kuraban.settings.checks.listen_policy import exposure, split_listen
from kuraban.settings.checks.references import check
from kuraban.settings.checks.secret_files import readable
from kuraban.settings.files.courses import Report, house_courses
from kuraban.settings.files.faults import validate
from kuraban.settings.files.sources import ENVIRONMENT, Raw, read_site, set_above, unknown_variables
from kuraban.settings.files.tables import MqttTable, SiteFile, WebTable
from kuraban.settings.model import Account, Addresses, Keep, Mqtt, Outward, Settings, Web
from kuraban.settings.secrets import reader, resolve, unasked


def load(
    site_file: Path,
    env: Mapping[str, str] | None = None,
    now: float | None = None,
    *,
    advised: bool = True,
    secrets: bool = True,
) -> Settings:
    """The settings of a house; `env` is the process's own environment unless given.

    Without `advised` no word is had on what will be missed, which takes most of the time; and a
    calendar that cannot be read is no fault but stands in `unread`: the house goes on without it.

    Without `secrets` no file with one is read; whoever uses none need not be allowed to.

    Calendars are written out from the week of `now` on; without it they are read and no more.

    ConfigurationError holds every fault of the site file, the environment and all course files.
    """
    env = os.environ if env is None else env
    report = Report([], list(unknown_variables(env)))
    read = read_site(site_file, env, report.faults)
    if read is None:
        raise ConfigurationError(report.faults)
    merged, above = read
    folder = site_file.resolve().parent
    read_secret = reader(folder, env) if secrets else unasked
    raw = resolve(merged, read_secret, str(site_file), report.faults)
    calendars = read_calendars(raw, folder, now)
    table = _checked(site_file, raw, above, report.faults)
    lost = [
        Fault(str(site_file), found.key, found.wrong, found.right)
        for found in unread(raw, folder, calendars)
    ]
    if advised:
        report.faults.extend(lost)
    courses = house_courses(_course_folders(raw, folder), str(site_file), report)
    if table is None or report.faults:
        raise ConfigurationError(report.faults)
    house, addresses = _house(table, courses), _addresses(table)
    house = msgspec.structs.replace(
        house,
        shifts=shifts(table, house.people, calendars),
        away=absences(table, house.zone),
    )
    if advised:
        report.warnings.extend(advise(house, addresses, raw, str(site_file)))
        if now is not None:
            report.warnings.extend(words_on(table, house.people, calendars, str(site_file), now))
        report.warnings.extend(receiving_words(raw, str(site_file)))
        report.warnings.extend(readable(merged, site_file))
    data = folder / table.site.data
    return Settings(
        house,
        mqtt_of(table.mqtt, folder),
        addresses,
        data,
        tuple(report.warnings),
        web=None if table.web is None else _web(table.web, _accounts(table, house), folder),
        outward=Outward(table.watch.ping, table.watch.ping_every),
        history=receiver(table.history, folder),
        folder=months(table.history, folder),
        keep=Keep(table.keep.days * DAY, table.keep.minute_days * DAY),
        unread=tuple(lost),
    )


def _checked(site_file: Path, raw: Raw, above: Raw, faults: list[Fault]) -> SiteFile | None:
    """The site's tables in form, and every fault of form and between them."""

    def where(location: tuple[int | str, ...]) -> str:
        return ENVIRONMENT if set_above(above, raw, location) else str(site_file)

    table = validate(SiteFile, raw, where, faults)
    folder = site_file.resolve().parent
    faults.extend(
        Fault(where(found.location), found.key, found.wrong, found.right)
        for found in (
            *check(raw, folder), *exposure(raw, folder), *manning(raw),
            *receiving(raw, folder),
        )
    )  # fmt: skip
    return table


def _course_folders(raw: Raw, folder: Path) -> list[Path]:
    site = raw.get("site")
    named = site.get("courses") if isinstance(site, dict) else None
    return (
        [folder / name for name in named if isinstance(name, str)]
        if isinstance(named, list)
        else []
    )


def _house(table: SiteFile, courses: tuple[Course, ...]) -> House:
    site = table.site
    return House(
        site=Site(**site.model_dump(exclude={"courses", "data"})),
        places=tuple(Place(**place.model_dump()) for place in table.place),
        coolers=tuple(
            Cooler(**{**cooler.model_dump(), "name": cooler.name or cooler.id})
            for cooler in table.cooler
        ),
        probes=tuple(Probe(**probe.model_dump()) for probe in table.probe),
        people=tuple(
            Person(id=person.id, name=person.name, language=person.language or site.language)
            for person in table.person
        ),
        rota=tuple(Duty(**duty.model_dump()) for duty in table.duty),
        courses=courses,
        managers=tuple(account.id for account in table.account if account.role == "manage"),
    )


def _addresses(table: SiteFile) -> Mapping[str, Addresses]:
    return MappingProxyType(
        {person.id: Addresses(person.pages or (), person.notices) for person in table.person}
    )


def mqtt_of(table: MqttTable, folder: Path) -> Mqtt:
    """Where the broker is and how to show oneself to it; file paths made absolute."""
    held = table.model_dump(exclude={"user_from", "password_from"})
    for key in ("ca_file", "cert_file", "key_file"):
        held[key] = folder / held[key] if held[key] else None
    return Mqtt(**held)


def _accounts(table: SiteFile, house: House) -> tuple[Account, ...]:
    """Accounts with the name and language of the person of the same id, unless they say others."""
    found = []
    for account in table.account:
        person = house.person.get(account.id)
        found.append(
            Account(
                id=account.id,
                role=account.role,
                name=account.name or (account.id if person is None else person.name),
                language=account.language or (None if person is None else person.language),
                password=account.password or "",
            )
        )
    return tuple(found)


def _web(table: WebTable, accounts: tuple[Account, ...], folder: Path) -> Web:
    host, port = split_listen(table.listen)
    return Web(
        host=host,
        port=port,
        public=None if table.public is None else table.public.rstrip("/"),
        cert_file=None if table.cert_file is None else folder / table.cert_file,
        key_file=None if table.key_file is None else folder / table.key_file,
        proxy=table.proxy,
        accounts=accounts,
        secret=table.secret,
    )
