"""`kuraban courses`: the planned curves that a batch can follow."""

from __future__ import annotations

from typing import Annotated

import typer

from kuraban.cli import completion
from kuraban.cli.common import Site, console, say, say_json, suggestion, table, wrong
from kuraban.core.planned_curve import NEVER, Course, Sides, Stage
from kuraban.core.texts.translator import figure
from kuraban.core.units import show_duration
from kuraban.settings import built_in_courses
from kuraban.settings.paths import any_site, settings_at

EXAMPLES = """\b
Examples:
  kuraban courses
  kuraban courses show moromi-slow-33"""


def add_to(app: typer.Typer) -> None:
    group = typer.Typer(rich_markup_mode=None)
    group.callback(invoke_without_command=True, epilog=EXAMPLES)(courses)
    epilog = "Example: kuraban courses show moromi-slow-33"
    group.command(name="show", epilog=epilog)(show)
    app.add_typer(group, name="courses")


def _known(ctx: typer.Context) -> tuple[dict[str, Course], set[str]]:
    """Courses by id, and which of them are built in as they are."""
    built_in = {course.id: course for course in built_in_courses()}
    site = ctx.obj if ctx.obj is not None else any_site()
    known = dict(settings_at(site, secrets=False).house.course) if site is not None else built_in
    return known, {course for course in known if known[course] == built_in.get(course)}


def courses(
    ctx: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, for a script.")] = False,
    site: Site = None,
) -> None:
    """The planned curves that a batch can follow.

    Those that come with the watch, and, with a site file, the house's own.
    """
    ctx.obj = site
    if ctx.invoked_subcommand is not None:
        return
    known, built_in = _known(ctx)
    if as_json:
        say_json([{"id": one.id, "for": one.for_, "title": one.title,
                   "seconds": sum(stage.length for stage in one.stages),
                   "built_in": one.id in built_in} for one in known.values()])  # fmt: skip
        return
    made = table("id", "for", "length", "title", "", right=("length",))
    for course in known.values():
        length = sum(stage.length for stage in course.stages)
        made.add_row(
            course.id,
            ", ".join(course.for_),
            show_duration(length),
            course.title.get("en", ""),
            "comes with the watch" if course.id in built_in else "the house's own",
        )
    console().print(made)


def show(
    ctx: typer.Context,
    course: Annotated[
        str, typer.Argument(metavar="ID", help="Its id.", autocompletion=completion.courses)
    ],
) -> None:
    """One course, stage by stage."""
    known, _ = _known(ctx)
    if course not in known:
        right = suggestion(course, list(known))
        raise wrong("command line", "ID", f'there is no course "{course}"', right)
    found = known[course]
    say(f"{found.id}: {found.title.get('en', '')}, for {' or '.join(found.for_)}")
    if found.never != NEVER:
        low, high = (figure(edge) for edge in found.never)
        say(f"Never below {low} or above {high} °C, whatever the plan.")
    made = table("stage", "title", "length", "°C", "tolerance", "after", "limit", "ends")
    for stage in found.stages:
        made.add_row(
            stage.id,
            stage.title.get("en", ""),
            show_duration(stage.length),
            _curve(stage),
            _sides(stage.tolerance),
            show_duration(stage.delay),
            _sides(stage.limit),
            "by log" if stage.ends == "crew" else "by itself",
        )
    console().print(made)


def _curve(stage: Stage) -> str:
    """Where it starts, turns and ends."""
    degrees = [celsius for _, celsius in stage.points]
    inner = [
        here
        for before, here, after in zip(degrees, degrees[1:], degrees[2:], strict=False)
        if (here - before) * (after - here) < 0
    ]
    told = [figure(celsius) for celsius in (degrees[0], *inner, degrees[-1])]
    return " → ".join(told if len(set(told)) > 1 else told[:1])


def _sides(sides: Sides) -> str:
    if sides.below == sides.above:
        return f"±{figure(sides.above)}"
    return f"−{figure(sides.below)} +{figure(sides.above)}"
