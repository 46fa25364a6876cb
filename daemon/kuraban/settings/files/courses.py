"""Course files: the built-in ones and the house's own, read into `core.course.Course`.

What neither a stage nor `[defaults]` says is common practice: tolerance 0.5 K, notice 0.6 and
limit 2 times the tolerance; 60 min for a tank, 30 for a starter, 15 for a koji bed; 20 min for the
limit, 10 for a koji bed. A stage that widens its tolerance past the limit it inherits has its
limit widened with it, and the watch says so.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from kuraban.core.planned_curve import NEVER, Course, Sides, Stage, Target
from kuraban.core.units import MINUTE
from kuraban.errors import ConfigurationError, Fault
from kuraban.settings.files.faults import validate
from kuraban.settings.files.sources import Raw, read_toml
from kuraban.settings.files.tables import CourseFile, DefaultsTable, StageTable
from kuraban.settings.files.values import listed, nearest, show

BUILT_IN = Path(__file__).resolve().parents[2] / "shared" / "courses"
TOLERANCE = Sides(0.5, 0.5)
NOTICE_PART, LIMIT_TIMES = 0.6, 2.0
DELAY = {"koji-bed": 15 * MINUTE, "starter": 30 * MINUTE, "tank": 60 * MINUTE}
LIMIT_DELAY, KOJI_LIMIT_DELAY = 20 * MINUTE, 10 * MINUTE


class Report(NamedTuple):
    """What reading found: faults stop the watch, warnings are told."""

    faults: list[Fault]
    warnings: list[Fault]


def read_course(path: Path) -> Course:
    """The course in a file; ConfigurationError with every fault of it."""
    report = Report([], [])
    course = course_in(path, report)
    if course is None or report.faults:
        raise ConfigurationError(report.faults)
    return course


def built_in_courses() -> tuple[Course, ...]:
    """The courses that come with the watch: common practice, to be edited."""
    return tuple(read_course(path) for path in sorted(BUILT_IN.glob("*.toml")))


def house_courses(folders: Iterable[Path], where: str, report: Report) -> tuple[Course, ...]:
    """Every course of the house by id: its own above built-in ones of the same id."""
    courses = {course.id: course for course in built_in_courses()}
    own: dict[str, Path] = {}
    for folder in folders:
        if not folder.is_dir():
            right = f"make the folder {folder}, or name one that is there"
            report.faults.append(Fault(where, "site.courses", f"no folder {folder}", right))
        for path in sorted(folder.glob("*.toml")):
            course = course_in(path, report)
            if course is not None and path.resolve() != own.get(course.id):
                courses[course.id] = course
                _only_once(course.id, path, own, report)
    return tuple(courses[course] for course in sorted(courses))


def _only_once(course: str, path: Path, own: dict[str, Path], report: Report) -> None:
    if course in own:
        wrong = f'"{course}" is also the id of {own[course]}'
        report.faults.append(Fault(str(path), "id", wrong, "give every course its own id"))
    own.setdefault(course, path.resolve())


def course_in(path: Path, report: Report) -> Course | None:
    """The course in a file, or None; what is wrong or worth a word goes to the report."""
    raw = read_toml(path, report.faults)
    if raw is None:
        return None
    where = str(path)
    before = len(report.faults)
    table = validate(CourseFile, raw, lambda _: where, report.faults)
    _check_stage_names(raw, where, report.faults)
    if table is None:
        return None
    course = _course(table, where, report)
    _check_never(course, where, report)
    return course if len(report.faults) == before else None


def _check_stage_names(raw: Raw, where: str, faults: list[Fault]) -> None:
    rows = raw.get("stage")
    names = (
        [row.get("id") for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
    )
    known = [name for name in names if isinstance(name, str)]
    for name in sorted({name for name in known if known.count(name) > 1}):
        wrong = f"{known.count(name)} stages have this id"
        faults.append(Fault(where, f"stage[{name}].id", wrong, "give every stage its own id"))
    first = raw.get("day_one")
    if isinstance(first, str) and first not in known:
        right = nearest(first, known, f"stages are {listed(known)}")
        faults.append(Fault(where, "day_one", f"there is no stage {show(first)}", right))


def _course(table: CourseFile, where: str, report: Report) -> Course:
    _check_levels(table.defaults, table.defaults, "defaults", where, report.faults)
    return Course(
        id=table.id,
        for_=table.for_,
        title=table.title or {},
        day_one=table.day_one,
        never=table.never or NEVER,
        target=_target(table, where, report),
        stages=tuple(_stage(stage, table, where, report) for stage in table.stage),
    )


def _target(table: CourseFile, where: str, report: Report) -> Target | None:
    own = table.target
    if own is None:
        return None
    if own.baume_by_alcohol and own.smv_by_alcohol:
        wrong, right = "the same line is in baume_by_alcohol", "draw it once, in Baume or in SMV"
        report.faults.append(Fault(where, "target.smv_by_alcohol", wrong, right))
    if own.bmd and table.day_one is None:
        right = "name day_one, the stage whose brewery day is day 1"
        report.faults.append(Fault(where, "target.bmd", "this course counts no moromi days", right))
    smv = tuple((alcohol, -value / 10) for alcohol, value in own.smv_by_alcohol or ())
    return Target(by_alcohol=own.baume_by_alcohol or smv, bmd=own.bmd or ())


def _stage(stage: StageTable, table: CourseFile, where: str, report: Report) -> Stage:
    key = f"stage[{stage.id}]"
    _check_levels(stage, table.defaults, key, where, report.faults)
    tolerance = stage.tolerance or table.defaults.tolerance or TOLERANCE
    limit = stage.limit or table.defaults.limit or _times(tolerance, LIMIT_TIMES)
    if not _holds(tolerance, limit):
        wrong = f"tolerance {_say(tolerance)} is wider than the limit {_say(limit)} it inherits"
        right = "give this stage its own limit; until then its limit is widened to its tolerance"
        report.warnings.append(Fault(where, f"{key}.tolerance", wrong, right))
        limit = Sides(max(limit.below, tolerance.below), max(limit.above, tolerance.above))
    if stage.ends == "clock" and stage.points[-1][0] > stage.length:
        right = "lengthen the stage or end its points with it"
        wrong = "the last points come after the stage has ended"
        report.warnings.append(Fault(where, f"{key}.points", wrong, right))
    delay, limit_delay = _delays(stage, table)
    return Stage(
        id=stage.id,
        title=stage.title or {},
        length=stage.length,
        points=stage.points,
        settle=stage.settle,
        ends=stage.ends,
        anchor=stage.anchor,
        tolerance=tolerance,
        notice=_notice(stage, table.defaults, tolerance),
        limit=limit,
        delay=delay,
        limit_delay=limit_delay,
        air=stage.air,
    )


def _delays(stage: StageTable, table: CourseFile) -> tuple[float, float]:
    """Delay of tolerance and of limit: the stage's, the file's, or that of the quickest kind."""
    delay = min(DELAY[kind] for kind in table.for_)
    limit_delay = KOJI_LIMIT_DELAY if "koji-bed" in table.for_ else LIMIT_DELAY
    given = (stage.delay, table.defaults.delay), (stage.limit_delay, table.defaults.limit_delay)
    own, own_limit = (next((say for say in pair if say is not None), None) for pair in given)
    return delay if own is None else own, limit_delay if own_limit is None else own_limit


def _notice(stage: StageTable, defaults: DefaultsTable, tolerance: Sides) -> Sides:
    if stage.notice is not None:
        return stage.notice
    notice = defaults.notice or _times(tolerance, NOTICE_PART)
    return Sides(min(notice.below, tolerance.below), min(notice.above, tolerance.above))


def _check_levels(
    own: DefaultsTable, inherited: DefaultsTable, key: str, where: str, faults: list[Fault]
) -> None:
    """Figures that this table itself gives: notice within tolerance within limit."""
    tolerance = own.tolerance or inherited.tolerance or TOLERANCE
    if own.notice is not None and not _holds(own.notice, tolerance):
        wrong = f"{_say(own.notice)} is wider than the tolerance {_say(tolerance)}"
        right = "an inner band: at most the tolerance"
        faults.append(Fault(where, f"{key}.notice", wrong, right))
    if own.limit is not None and not _holds(tolerance, own.limit):
        wrong = f"{_say(own.limit)} is narrower than the tolerance {_say(tolerance)}"
        faults.append(Fault(where, f"{key}.limit", wrong, "an outer band: at least the tolerance"))


def _check_never(course: Course, where: str, report: Report) -> None:
    """A plan beyond `never` is a fault; a limit that reaches beyond it is worth a word."""
    low, high = course.never
    for stage in course.stages:
        degrees = [celsius for _, celsius in stage.points]
        least, most = min(degrees), max(degrees)
        if least < low or most > high:
            wrong = f"the plan from {least:g} to {most:g} leaves never = [{low:g}, {high:g}]"
            right = "keep the points within it, or widen never"
            report.faults.append(Fault(where, f"stage[{stage.id}].points", wrong, right))
        elif least - stage.limit.below < low or most + stage.limit.above > high:
            wrong = f"plan and limit together leave never = [{low:g}, {high:g}]"
            right = "never comes first there; narrow the limit or widen never"
            report.warnings.append(Fault(where, f"stage[{stage.id}].limit", wrong, right))


def _holds(inner: Sides, outer: Sides) -> bool:
    return inner.below <= outer.below and inner.above <= outer.above


def _times(sides: Sides, factor: float) -> Sides:
    return Sides(round(sides.below * factor, 6), round(sides.above * factor, 6))


def _say(sides: Sides) -> str:
    if sides.below == sides.above:
        return f"{sides.below:g}"
    return f"{{ below = {sides.below:g}, above = {sides.above:g} }}"
