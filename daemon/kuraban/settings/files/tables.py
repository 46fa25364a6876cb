"""The tables of the site file and of a course file: every key, its kind and its default."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field
from pydantic_settings import BaseSettings, PydanticBaseSettingsSource, SettingsConfigDict

from kuraban.core.site import CoolerKind, Draught, Language, Measure, PlaceKind, Scale
from kuraban.core.units import HOUR, MINUTE
from kuraban.settings.files.values import (
    Air,
    Allowed,
    Argon,
    Band,
    BaumeByAlcohol,
    BmdByDay,
    Clock,
    Day,
    Dip,
    Duration,
    Hours,
    Id,
    Ladder,
    Offset,
    Pointer,
    Points,
    Positive,
    SmvByAlcohol,
    SomeTime,
    Timezone,
    Title,
    Token,
    Topic,
    Web,
    Words,
)

Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
BrewingKind = Literal["tank", "starter", "koji-bed"]
Role = Literal["look", "log", "manage"]
Address = Annotated[str, Field(min_length=1)]


class Table(BaseModel):
    """Parent of every table: an unknown key is a fault."""

    model_config = ConfigDict(extra="forbid", frozen=True, use_attribute_docstrings=True)


class SiteTable(Table):
    name: Words = "Kura"
    timezone: Timezone = "Asia/Tokyo"
    language: Language = "en"
    """Language of the house; a person may have their own."""
    day_starts: Clock = 6 * HOUR
    """The brewery day turns here, not at midnight."""
    duty_hours: Hours = (6 * HOUR, 21 * HOUR)
    evening: Clock = 20.5 * HOUR
    """When the evening word goes out."""
    rounds: Annotated[tuple[Clock, ...], Field(max_length=12)] = ()
    """When each stir round of the day begins; else with the day and with the evening word."""
    ladder: Ladder = (0.0, 10 * MINUTE, 30 * MINUTE, 60 * MINUTE)
    """For mash and coolers: when the first is told, again, the next, and all of the role."""
    quick_ladder: Ladder = (0.0, 5 * MINUTE, 10 * MINUTE, 20 * MINUTE)
    """The same for koji, starter, heaters and what is past its limit."""
    late_after: Duration = 10 * MINUTE
    """Readings older than this are kept, and raise or clear nothing by themselves."""
    courses: tuple[str, ...] = ()
    """Folders of course files, beside the built-in ones; relative to the site file."""
    data: Address = "data"
    """Folder of journal and state; relative to the site file."""


class MqttTable(Table):
    host: Address = "127.0.0.1"
    port: Annotated[int, Field(ge=1, le=65535)] = 1883
    root: Topic = "kura"
    user: Address | None = None
    user_from: Address | None = None
    password: Address | None = None
    password_from: Address | None = None
    """"credential:NAME", or a file whose text is the password."""
    ca_file: Address | None = None
    """Certificate of whoever vouches for the broker; with it the connection is TLS."""
    cert_file: Address | None = None
    key_file: Address | None = None
    client_id: Words = "kuraban"
    """Fixed, so that the broker keeps what arrives while the watch is away."""
    turn: Duration = 0.0
    """How long a turn waits for more messages; a memory card lasts longer at 2s."""
    keepalive: SomeTime = MINUTE


class PlaceTable(Table):
    id: Id
    kind: PlaceKind
    name: Words
    litres: Positive | None = None
    height: Positive | None = None
    """cm inside, bottom to rim, of an upright tank."""
    dip: Dip | None = None
    """Of a calibrated tank: cm from the rim down to the surface, and the litres in it then."""
    room: str | None = None
    cooler: str | None = None
    heater: str | None = None
    band: Band | None = None
    """°C; a room, cold store or water tank is judged by it without a batch."""
    delay: Duration = 30 * MINUTE
    """How long outside its band before it is called."""


class CoolerTable(Table):
    id: Id
    kind: CoolerKind
    name: Words | None = None
    rated_watts: Positive | None = None
    band: Band | None = None
    """°C of its supply, or of its air."""
    delay: Duration = 15 * MINUTE
    service: Words | None = None
    """Whom to ring, told in its message."""
    brine: bool = False
    """It carries brine, so a supply near 0 °C is as it should be."""


class ProbeTable(Table):
    id: Id
    of: str
    """The place or the cooler it hangs on."""
    measures: Measure
    every: SomeTime = MINUTE
    offset: Offset = 0.0
    """Added to every reading, K; from the ice-point check."""
    calibrated: Day | None = None
    """The day of that check; older than a year, it is asked for anew."""
    topic: Topic | None = None
    pointer: Pointer | None = None
    at_pointer: Pointer | None = None
    dry_below: Positive | None = None
    """Litres in its tank below which its tip hangs above the mash; then it is not believed."""
    unit: Scale | None = None
    """The degrees in which its bare numbers are sent, where that is not °C."""
    factor: Positive = 1.0
    """What one of its bare numbers is worth: 0.1 where a bus sends whole tenths."""
    draught: Draught | None = None
    """The air past its wick: fan (3 m/s or more), natural (about 1 m/s) or still, the default."""


class PersonTable(Table):
    id: Id
    name: Words
    language: Language | None = None
    pages: tuple[Address, ...] | None = None
    """Apprise addresses that ring."""
    pages_from: Address | None = None
    notices: tuple[Address, ...] = ()
    """Where reports and soundless words go."""
    notices_from: Address | None = None


class DutyTable(Table):
    role: Words
    """brewer, maintenance, crew, or a name of the house's own."""
    person: str
    order: Annotated[int, Field(ge=1)]
    days: tuple[Weekday, ...] = ()
    hours: Hours | None = None
    """From and to; may cross midnight."""
    awake: bool = False


class CalendarTable(Table):
    """A calendar file (RFC 5545) that the house keeps: its events are duties."""

    role: Words
    file: Address
    """Relative to the site file; read anew at every start."""
    person: str | None = None
    """Whose duties these are; else each event's title names the person, by id or name."""
    order: Annotated[int, Field(ge=1)] = 1
    awake: bool = False


class AwayTable(Table):
    """Somebody is farther than next door, and can still be called."""

    person: str
    from_: Annotated[Day, Field(alias="from")]
    to: Day
    """A day alone counts whole."""
    minutes: Annotated[float, Field(ge=0, le=1440)]
    """How long it takes to arrive."""


class WatchTable(Table):
    """The watch watched from outside."""

    ping: Web | None = None
    """Called while all is well; whoever waits there pages when the call stays away."""
    ping_from: Address | None = None
    ping_every: SomeTime = 5 * MINUTE


class HistoryTable(Table):
    """Who keeps the long history, an engine or a folder or both; without this table nobody does."""

    url: Web | None = None
    """Where the engine takes line protocol, at /api/v2/write below this address."""
    bucket: Words | None = None
    folder: Address | None = None
    """For Parquet files by month."""
    org: Words = "kuraban"
    """Some engines know organizations, others pass over it."""
    token: Token | None = None
    token_from: Address | None = None
    ca_file: Address | None = None
    """Certificate of whoever vouches for the engine, where no public authority does."""
    site: Words | None = None
    """The tag by which several houses are told apart there; else the site's name."""


class KeepTable(Table):
    """For how long the journal keeps readings as they were read; extremes it keeps for ever."""

    days: Annotated[int, Field(ge=7, le=36500)] = 30
    """At full length; those of a running batch stay so until it ends."""
    minute_days: Annotated[int, Field(ge=7, le=36500)] = 90
    """Then one value a minute until they are so old, thereafter one in ten minutes."""


class WebTable(Table):
    """The pages that the crew looks at; without this table there are none."""

    listen: Address = "127.0.0.1:8080"
    """Address and port. Anything but this machine itself takes accounts, and TLS or a proxy."""
    public: Address | None = None
    """The address as phones reach it, such as https://kura.example; links in messages use it."""
    cert_file: Address | None = None
    key_file: Address | None = None
    proxy: tuple[Address, ...] = ()
    """Addresses of the proxy that speaks TLS for the pages and is believed about who asks."""
    secret: Annotated[str, Field(min_length=32)] | None = None
    """Signs sessions and links; one is made and kept beside the journal if none is given."""
    secret_from: Address | None = None


class AccountTable(Table):
    """Who may use the pages. An id that is also a person's shares name and language."""

    id: Id
    role: Role
    """look; log: enters what was done as well; manage: begins and ends batches as well."""
    name: Words | None = None
    language: Language | None = None
    password: Argon | None = None
    """The argon2 line that `kuraban password` prints, never the password itself."""
    password_from: Address | None = None


class SiteFile(BaseSettings):
    """The whole site file. Give it the merged tables: it reads nothing by itself."""

    model_config = SettingsConfigDict(
        extra="forbid", frozen=True, env_prefix="KURABAN_", env_nested_delimiter="__"
    )

    site: SiteTable = SiteTable()
    mqtt: MqttTable = MqttTable()
    place: tuple[PlaceTable, ...] = ()
    cooler: tuple[CoolerTable, ...] = ()
    probe: tuple[ProbeTable, ...] = ()
    person: tuple[PersonTable, ...] = ()
    duty: tuple[DutyTable, ...] = ()
    calendar: tuple[CalendarTable, ...] = ()
    away: tuple[AwayTable, ...] = ()
    watch: WatchTable = WatchTable()
    history: HistoryTable | None = None
    keep: KeepTable = KeepTable()
    web: WebTable | None = None
    account: tuple[AccountTable, ...] = ()

    @classmethod
    def settings_customise_sources(
        cls,
        settings_cls: type[BaseSettings],
        init_settings: PydanticBaseSettingsSource,
        env_settings: PydanticBaseSettingsSource,
        dotenv_settings: PydanticBaseSettingsSource,
        file_secret_settings: PydanticBaseSettingsSource,
    ) -> tuple[PydanticBaseSettingsSource, ...]:
        return (init_settings,)


class DefaultsTable(Table):
    """What holds for every stage that says nothing else."""

    tolerance: Allowed | None = None
    """°C either side of the plan: the figure at which the brewer wants to be called."""
    notice: Allowed | None = None
    """An inner band, shown and reported, that never pages."""
    limit: Allowed | None = None
    delay: Duration | None = None
    limit_delay: Duration | None = None


class StageTable(DefaultsTable):
    id: Id
    title: Title | None = None
    length: Duration
    points: Points
    """Elapsed in the stage and °C; straight between, level after the last."""
    settle: Duration = 0.0
    """After the stage mark nothing but `never` is judged for so long."""
    ends: Literal["crew", "clock"] = "crew"
    anchor: Literal["mark", "day"] = "mark"
    air: Air | None = None


class TargetTable(Table):
    """Lines that the house draws for its samples; straight between their points."""

    baume_by_alcohol: BaumeByAlcohol | None = None
    """% ABV and Baume."""
    smv_by_alcohol: SmvByAlcohol | None = None
    """The same in SMV; one of the two."""
    bmd: BmdByDay | None = None
    """Moromi day and BMD."""


class CourseFile(Table):
    """A whole course file."""

    id: Id
    for_: Annotated[tuple[BrewingKind, ...], Field(alias="for", min_length=1)] = ("tank",)
    title: Title | None = None
    day_one: str | None = None
    """The stage whose brewery day is day 1."""
    never: Band | None = None
    """°C beyond which no aim, let-run or mask moves the alarm."""
    defaults: DefaultsTable = DefaultsTable()
    target: TargetTable | None = None
    stage: Annotated[tuple[StageTable, ...], Field(min_length=1)]
