"""`kuraban batch export`: everything that is known of a batch, as a folder for the shelf."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from kuraban.cli.batch_way import unknown, way
from kuraban.cli.common import Site, console, counted, say, watched, wrong
from kuraban.cli.moments import moment
from kuraban.core.site import House
from kuraban.core.timescale import moment_of
from kuraban.core.units import show_time
from kuraban.edges.table_writer import parquet_available, write_folder
from kuraban.queries.batches.batch_export import BatchFolder, stays_of
from kuraban.queries.batches.batch_history import BatchHistory
from kuraban.queries.journal_state import clock, open_history
from kuraban.settings.paths import journal_of

README = "README.txt"
ABOUT = {
    "en": """\
{house}: batch {batch}
{start} to {end}; in {places}. Written {now}.

This is a working record of temperatures, samples and work. It is not the statutory book.

readings-*.csv  what each probe read, of the batch's places, their rooms and coolers
entries.csv     what people entered: who, when, by which way. A correction names the old entry
                ("corrects"), which stays ("corrected by")
samples.csv     analyses as they count after corrections; aims.csv the same for the brewer's plans
plan.csv        the plan in force every ten minutes, and the first one; course-*.json the course
rings.csv       every step of every alarm; messages.csv what was told to whom
sheet.csv       the batch day by day

Times are given by the brewery's clock with its offset, and in Unix seconds. Units stand in the
first line. CSV is UTF-8 with a byte order mark. The files are as written while this holds:

    sha256sum -c SHA256SUMS
""",
    "ja": """\
{house}：仕込み {batch}
{start} から {end} まで。場所：{places}。作成 {now}。

これは品温・分析・作業の手控えです。法定の帳簿ではありません。

readings-*.csv  各センサーの値（仕込みの場所、その部屋と冷却機）
entries.csv     記入したこと：誰が、いつ、どこから。訂正は元の記入を指し（corrects）、元の記入も残る
                （corrected by）
samples.csv     訂正後の分析値。aims.csv は同じく温度の狙い
plan.csv        十分ごとの計画と最初の計画。course-*.json は経過表
rings.csv       警報のすべての段階。messages.csv は誰に何を知らせたか
sheet.csv       日ごとの経過

時刻は蔵の時計（時差つき）と Unix 秒。単位は各表の一行目。CSV は BOM 付き UTF-8。
書いたときのままかどうかは次で確かめられます。

    sha256sum -c SHA256SUMS
""",
}
SUMMED = {
    "en": "\nOf readings before {until} the least, greatest and last of each stretch are kept.\n",
    "ja": "\n{until} より前は、区切りごとの最小・最大・最後の値です。\n",
}
RUNS_ON = {"en": " (still running)", "ja": "（続いている）"}


EXAMPLE = 'Example: kuraban batch export "No. 13" --out no-13'


def add_to(app: typer.Typer) -> None:
    group = typer.Typer(
        name="batch",
        no_args_is_help=True,
        epilog=EXAMPLE,
        help="A batch's record, written out for the shelf, and its way to the tanks.",
    )
    group.callback()(lambda: None)
    group.command(name="export", epilog=EXAMPLE)(export)
    group.command(name="way", epilog='Example: kuraban batch way "No. 13"')(way)
    app.add_typer(group)


def export(
    batch: Annotated[str, typer.Argument(metavar="BATCH", help="Name of the batch.")],
    out: Annotated[Path, typer.Option(metavar="DIR", help="A new folder to write to.")],
    day: Annotated[
        str | None,
        typer.Option(
            metavar="TIME",
            help="A day on which it ran, where the name came again; else the newest.",
            show_default=False,
        ),
    ] = None,
    parquet: Annotated[
        bool, typer.Option("--parquet", help="Every table as Parquet as well.")
    ] = False,
    site: Site = None,
) -> None:
    """Write everything that is known of a batch into a new folder.

    Readings, entries with their corrections, samples, alarms, messages, course, aims and sheet, as
    CSV with units and checksums. It is a working record, not the statutory book. Nothing is
    overwritten; the watch may run.
    """
    settings, _ = watched(site)
    house = settings.house
    if parquet and not parquet_available():
        right = "install it: /opt/kuraban/bin/pip install 'kuraban[parquet]'; or leave it out"
        raise wrong("command line", "--parquet", "pyarrow is not installed", right)
    on = None if day is None else moment(day, "--day", house.zone, moment_of(clock(), house.zone))
    history = open_history(journal_of(settings))
    try:
        batch_history = BatchHistory(house)
        batch_history.catch_up(history)
        stays = stays_of(batch_history, batch, on)
        if not stays:
            raise unknown(batch_history, batch)
        folder = BatchFolder(history, house, stays)
        texts = {README: _about(folder, house, batch), **folder.courses()}
        with _progress() as passed:
            counts = _written(out, folder, texts, parquet, passed)
    finally:
        history.close()
    readings = sum(rows for name, rows in counts.items() if name.startswith("readings-"))
    say(
        f"{out}: {counted(readings, 'reading')}, {counted(counts['entries'], 'entry', 'entries')}, "
        f"{counted(counts['samples'], 'sample')}, {counted(counts['rings'], 'alarm step')}, "
        f"{counted(counts['sheet'], 'day')}"
    )


def _written(
    out: Path,
    folder: BatchFolder,
    texts: dict[str, str],
    parquet: bool,
    passed: Callable[[str], None],
) -> dict[str, int]:
    try:
        return write_folder(out, folder.tables(), texts, parquet=parquet, passed=passed)
    except FileExistsError:
        right = "nothing is overwritten: choose another name"
        raise wrong(str(out), "--out", "is there already", right) from None
    except OSError as error:
        right = "name a folder that can be made, with space for it"
        raise wrong(str(out), "--out", f"cannot be written ({error.strerror})", right) from None


def _about(folder: BatchFolder, house: House, batch: str) -> str:
    language = house.site.language
    asked = moment_of(clock(), house.zone)
    start, end, now = (show_time(round(at), house.zone) for at in (folder.start, folder.end, asked))
    places = ", ".join(house.name_of(place) for place in folder.places)
    about = ABOUT[language].format(
        house=house.site.name, batch=batch, start=start,
        end=end + (RUNS_ON[language] if folder.running else ""), places=places, now=now,
    )  # fmt: skip
    until = folder.summed_until
    if until is None:
        return about
    return about + SUMMED[language].format(until=show_time(until, house.zone))


@contextmanager
def _progress() -> Iterator[Callable[[str], None]]:
    """On a terminal, which table is being written."""
    if not sys.stderr.isatty():
        yield lambda name: None
        return
    with console(stderr=True).status("") as status:
        yield lambda name: status.update(f"writing {name}")
