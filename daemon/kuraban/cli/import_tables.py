"""`kuraban import`: old seasons from loggers and spreadsheets, to stand beside this one."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from itertools import islice
from pathlib import Path
from typing import Annotated, get_args

import typer
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

from kuraban.cli.common import (
    Site,
    console,
    counted,
    house_of,
    on_terminal,
    say,
    table,
    tell,
    wrong,
)
from kuraban.core.site import House, Scale
from kuraban.edges.table_reader import Shape, opened
from kuraban.errors import ConfigurationError, Fault
from kuraban.imports.guess import guess
from kuraban.imports.importing import Import, Imported
from kuraban.imports.mapping import (
    LOOKED_AT,
    Kind,
    Mapping,
    check,
    headed,
    headings,
    likely_heads,
    load,
    offered,
    to_toml,
)
from kuraban.queries.journal_state import clock
from kuraban.settings.paths import journal_of

EXAMPLE = "Example: kuraban import --mapping logger.toml season-2024.csv"
KEPT = "mappings"
"""The folder beside the journal in which mappings are kept."""


def add_to(app: typer.Typer) -> None:
    app.command(name="import", epilog=EXAMPLE)(import_)


def import_(
    tables: Annotated[list[Path], typer.Argument(metavar="TABLE", help="CSV or XLSX.")],
    mapping: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.toml",
            help="Which column is what; else the one kept of an earlier table like it, else asked.",
            show_default=False,
        ),
    ] = None,
    site: Site = None,
) -> None:
    """Take readings, batches or samples of old seasons from tables.

    Which column is what is asked once, and kept. Each table is taken whole or not at all, and
    nothing twice. What is imported lies in a file of its own beside the journal: it stands beside
    this season in the pages and can be rehearsed, and changes nothing that the watch decides. What
    the watch saw itself is left out.
    """
    settings, _ = house_of(site)
    house, journal, faults = settings.house, journal_of(settings), list[Fault]()
    kept = journal.with_name(KEPT)
    with closing(Import(house, journal, clock())) as importing:
        for path in tables:
            try:
                own = load(mapping, house) if mapping else _mapping_of(path, kept, house)
                with _progress(path.name) as (sized, passed):
                    found = importing.table(path, own, sized, passed)
            except ConfigurationError as error:
                faults += error.faults
                continue
            for line in _told(path, own, found):
                say(line)
    if faults:
        raise ConfigurationError(faults)


def _told(path: Path, mapping: Mapping, found: Imported) -> Iterator[str]:
    one, many = ("reading", "readings") if mapping.kind == "readings" else ("entry", "entries")
    new, known, other = found.added
    parts = [f"{counted(new, one, many)} added"]
    parts += [f"{known:,} known already"] if known else []
    parts += [f"{other:,} with another value left as they were"] if other else []
    parts += [counted(found.gaps, "gap")] if found.gaps else []
    parts += [f"{found.later:,} left out: the watch saw that time itself"] if found.later else []
    yield f"{path.name}: {', '.join(parts)}"
    clocks = found.times
    for day in sorted({*clocks.first, *clocks.second}):
        times = f"{clocks.first[day]} times read as the first, {clocks.second[day]} as the second"
        yield f"{path.name}: {day}: an hour came twice: {times}"
    for day, count in sorted(clocks.missing.items()):
        yield (
            f"{path.name}: {day}: {count} times in the hour that was left out, read as if the clock"
            " had not been put forward"
        )


@contextmanager
def _progress(name: str) -> Iterator[tuple[Callable[[int], None], Callable[[int], None]]]:
    if not sys.stderr.isatty():
        yield (lambda count: None), (lambda count: None)
        return
    columns = (TextColumn(name), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console(stderr=True), transient=True) as progress:
        task = progress.add_task("", total=None)
        yield (
            lambda count: progress.update(task, total=count or None),
            lambda count: progress.update(task, completed=count),
        )


# Which column is what.


def _mapping_of(path: Path, kept: Path, house: House) -> Mapping:
    """The one kept of an earlier table with the same headings, else what somebody says."""
    for known_ in sorted(kept.glob("*.toml")):
        mapping = load(known_, house)
        with opened(path, mapping) as (rows, _):
            if headed(list(islice(rows, LOOKED_AT)), mapping) is not None:
                tell(f"{path.name}: as {known_}")
                return mapping
    with opened(path, Shape()) as (rows, _):
        first = list(islice(rows, LOOKED_AT))
    at = likely_heads(first)
    heads = headings(first[at][1])
    offer = guess(heads, house)
    if not on_terminal():
        say(to_toml(offer).rstrip())
        for head in heads:
            if head and head not in offer.columns:
                say(f"# {head!r} is left out")
        right = "write the mapping above into a file, put it right, and name it with --mapping"
        raise wrong(str(path), "columns", "nobody said which is what, and nobody is asked", right)
    mapping = _asked(path, heads, [cells for _, cells in first[at + 1 : at + 4]], offer, house)
    return _keep(mapping, kept, path.stem)


def _asked(
    path: Path, heads: list[str], shown: list[object], offer: Mapping, house: House
) -> Mapping:
    made = table(*(head or "-" for head in heads))
    for cells in shown:
        made.add_row(*(str(cell) for cell in cells))  # type: ignore[attr-defined]
    console().print(made)
    kind: Kind = _one_of("What does it hold", get_args(Kind), offer.kind)  # type: ignore[assignment]
    say(f"Columns can be {', '.join(offered(kind, house))}; - leaves one out.")
    columns: dict[str, str] = {}
    for head in filter(None, heads):
        usual = offer.columns.get(head, "-")
        usual = usual if usual in offered(kind, house) else "-"
        role = _one_of(head, (*offered(kind, house), "-"), usual, tell_all=False)
        columns |= {} if role == "-" else {head: role}
    unit = _one_of("Degrees", get_args(Scale), offer.unit) if kind == "readings" else "°C"
    zone = str(typer.prompt("Time zone of its times", default=house.site.timezone)).strip()
    course = None
    if kind == "batches" and "course" not in columns.values():
        course = _one_of("Course of every batch", (*house.course,), next(iter(house.course)))
    mapping = Mapping(
        kind=kind, columns=columns, unit=unit, course=course,  # type: ignore[arg-type]
        timezone=None if zone == house.site.timezone else zone,
    )  # fmt: skip
    check(path, mapping, house)
    return mapping


def _one_of(question: str, known: tuple[str, ...], usual: str, *, tell_all: bool = True) -> str:
    asked = f"{question} ({', '.join(known)})" if tell_all else question
    while (answer := str(typer.prompt(asked, default=usual)).strip()) not in known:
        say(f'There is no "{answer}"; there are {", ".join(known)}.')
    return answer


def _keep(mapping: Mapping, kept: Path, stem: str) -> Mapping:
    names = (kept / f"{stem}{tail}.toml" for tail in ("", *(f"-{n}" for n in range(2, 1000))))
    path = next(name for name in names if not name.exists())
    try:
        kept.mkdir(parents=True, exist_ok=True)
        path.write_text(to_toml(mapping), "utf-8")
    except OSError as error:
        right = "import as the user of the watch: sudo -u kuraban"
        raise wrong(str(path), "mapping", f"cannot be kept ({error.strerror})", right) from None
    say(f"{path}: kept, and used for every table with these headings; edit it as you like.")
    return mapping
