"""The house rules: what imports what, who owns a library, and what every part must bring along."""

from __future__ import annotations

import ast
import graphlib
import re
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest
import typer.main
from pydantic import BaseModel

from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.house_state import HouseState
from kuraban.core.house_view import HouseView
from kuraban.core.plan.entry_log import EntryLog
from kuraban.core.plan.plan_view import EntryLogView, SubjectView
from kuraban.core.plan.subject_state import SubjectState
from kuraban.core.probes.probe_state import PlaceState, ProbeState, Series
from kuraban.core.probes.probe_view import PlaceView, ProbeView, SeriesView
from kuraban.settings.catalogues import load_words
from kuraban.settings.files.tables import CourseFile, SiteFile
from tests.borrowed import lent_in, writes
from tests.house import (
    CROWDED,
    FLOORS,
    LISTS,
    ROOT,
    TESTS,
    Module,
    code_spans,
    imports_of,
    members_of,
    modules,
    namesake,
    tells_only_names,
    text_files,
)
from tests.reach import unused

MODULES = {module.name: module for module in modules()}
PURE = [module for module in modules() if module.room in ("trade", "core")]

OWNERS = {
    "paho": ("edges.mqtt.front_door", "edges.mqtt.client"),
    "apprise": ("edges.phones.courier", "settings.checks.advice"),
    "influxdb_client": ("edges.history.influx_writer", "edges.history.engine_reader"),
    "matplotlib": ("edges.charts",),
    "pymodbus": ("edges.modbus",),
    "numpy": ("edges.charts",),
    "fastapi": ("edges.web",),
    "starlette": ("edges.web",),
    "uvicorn": ("edges.web",),
    "jinja2": ("edges.web",),
    "markdown_it": ("edges.web",),
    "itsdangerous": ("edges.signing",),
    "icalendar": ("settings.files.calendars", "edges.web.due.work_calendar"),
    "recurring_ical_events": ("settings.files.calendars",),
    "argon2": ("edges.web",),
    "openpyxl": ("edges.table_reader",),
    "pyarrow": (
        "edges.table_writer", "edges.history.folder_merge", "edges.history.folder_reader",
    ),
    "gpiozero": ("edges.gpio",),
    "pydantic": ("settings", "edges.web"),
    "pydantic_core": ("settings",),
    "pydantic_settings": ("settings",),
    "msgspec": (
        "cli", "core", "edges", "feed", "imports", "queries", "reading_ahead", "recording",
        "rehearse", "replay", "runtime", "settings", "store",
    ),
    "rich": ("cli", "demo"),
    "typer": ("cli",),
    "click": ("cli",),
    "iotcore": ("demo",),
    "segno": ("demo",),
    "sqlite3": ("store",),
}  # fmt: skip
"""Library, and the rooms that may import it; what stands here not may be imported nowhere."""

NEVER_IN_THE_CORE = frozenset(
    {"asyncio", "glob", "io", "logging", "multiprocessing", "os", "pathlib", "random", "secrets",
     "shutil", "signal", "socket", "sqlite3", "subprocess", "sys", "tempfile", "threading", "time",
     "tomllib", "urllib", "uuid", "warnings"}
)  # fmt: skip
NEVER_CALLED = re.compile(
    r"^(open|print|input|exec|eval|breakpoint)$|\b(now|today|utcnow|fromtimestamp_now)$"
)

WAKES_DATA = frozenset({"cloudpickle", "copyreg", "dill", "marshal", "pickle", "shelve"})
WAKES = re.compile(
    r"^(exec|eval)$|^__(reduce|reduce_ex|getnewargs|getnewargs_ex|getstate|setstate)__$"
)
"""Libraries, calls and methods by which data that are read come to life."""
WALL = re.compile(
    r"^(time\.(time|time_ns|localtime|ctime)|datetime\.(datetime\.)?(now|utcnow|today)|date\.today)$"
)
BY_THE_WALL = {
    "clock": "which is joined to it",
    "feed.service": "the watch reads by the wall clock when a feed measured something",
    "queries.journal_state": "a command is asked by a person, who has the wall clock",
    "runtime.outside": "what the broker is told of the watch, other programs read",
}
"""Where the wall clock itself is meant. Everywhere else its time comes from the watch's own, since
a pause that is measured by it ends when somebody sets it."""

FORBIDDEN = {
    r"\b(TO" r"DO|FIX" r"ME|X" r"XX|HA" r"CK)\b": "unfinished work is finished or told as an issue",
    r"\bNotImple" r"mentedError\b": "what is not there is not promised",
    r"\bpytest\.(mark\.)?(sk" r"ip|xf" r"ail|skip" r"if)\b": "a test runs, or is left out by need",
    r"\bbreak" r"point\(\)|\bpd" r"b\b": "a debugger is no part of it",
    r"(?i)\bissue #?\d": "the work's own bookkeeping says nothing to a stranger",
    re.escape(str(ROOT)): "a path of one machine says nothing on another",
}

HEAVY = (
    "edges.web", "edges.charts", "edges.history", "edges.history.influx_writer",
    "edges.history.folder_merge", "edges.history.engine_reader",
)  # fmt: skip
LONG = 450


class Smell(UserWarning):
    """Something to look at rather than a fault."""


def names(found: list[str]) -> str:
    return "\n".join(["", *found])


# ---------------------------------------------------------------------------------------- imports


def test_every_module_stands_on_a_floor() -> None:
    rooms = {room for floor in FLOORS for room in floor}
    assert {module.room for module in modules() if module.name} <= rooms


def test_a_module_imports_from_lower_floors_only() -> None:
    """Or from its own floor, where the next rule sees to it that nothing goes in a circle."""
    upward = [
        f"{module.name} imports {name}"
        for module in modules()
        if module.name
        for name in module.own_imports()
        if name and MODULES[name].floor > module.floor
    ]
    assert not upward, names(upward)


def test_the_rooms_of_the_core_lie_along_the_way_of_the_data() -> None:
    """A stranger follows one reading through the core and never turns back."""
    core = {module.name: module for module in modules() if module.name.startswith("core.")}
    backward = [
        f"{module.name} imports {name}"
        for module in core.values()
        for name in module.own_imports() & core.keys()
        if core[name].storey > module.storey
    ]
    assert not backward, names(backward)


def test_every_room_says_at_its_door_what_may_enter_and_none_is_crowded() -> None:
    rooms: dict[str, list[Module]] = {}
    for module in modules():
        room = module.name if module.path.name == "__init__.py" else module.name.rpartition(".")[0]
        rooms.setdefault(room, []).append(module)
    wordless, crowded = [], []
    for room, inside in rooms.items():
        doors = [one for one in inside if one.path.name == "__init__.py"]
        if not doors or not ast.get_docstring(doors[0].tree):
            wordless.append(room or "kuraban")
        if len(inside) > CROWDED and room not in LISTS:
            crowded.append(f"{room} has {len(inside)} files")
    assert not wordless, names(wordless)
    assert not crowded, names(crowded)


def test_the_tests_lie_as_the_package_does() -> None:
    """A test that bears a module's name stands where that module stands."""
    known = {namesake(module) for module in modules()}
    named: dict[str, list[Path]] = {}
    for path in known:
        named.setdefault(path.name, []).append(path)
    rooms = {path.parent for path in known} - {TESTS}
    stray = [
        str(path.relative_to(ROOT))
        for room in rooms
        for path in room.glob("test_*.py")
        if path.name in named and path not in known
    ]
    assert not stray, names(stray)


def test_imports_never_go_in_a_circle() -> None:
    """On one floor as between floors there is an order in which the modules can be read."""
    graph = {module.name: module.own_imports() - _own_package(module) for module in modules()}
    graphlib.TopologicalSorter(graph).prepare()


def _own_package(module: Module) -> set[str]:
    """A module may stand in a package whose own file names it."""
    parts = module.name.split(".")
    return {"", *(".".join(parts[:count]) for count in range(1, len(parts)))}


def test_a_library_has_one_owner() -> None:
    strangers = []
    for module in modules():
        for library in module.foreign_imports() | (module.imports() & {"sqlite3"}):
            rooms = OWNERS.get(library, ())
            if not any(module.name == r or module.name.startswith(f"{r}.") for r in rooms):
                owners = ", ".join(rooms) or "nobody"
                strangers.append(f"{module.name} imports {library}, which belongs to {owners}")
    assert not strangers, names(strangers)


@pytest.mark.parametrize("module", PURE, ids=lambda module: module.name)
def test_the_core_reads_no_clock_and_touches_nothing(module: Module) -> None:
    """Time is an argument, the next deadline an answer; no file, environment, log or lot."""
    touched = {name for name in module.imports() if name.partition(".")[0] in NEVER_IN_THE_CORE}
    called = [call for call in module.calls() if NEVER_CALLED.search(call)]
    called = [call for call in called if "datetime" in call or "date" in call or "." not in call]
    assert not touched
    assert not called


def test_nobody_measures_by_the_wall_clock() -> None:
    """Somebody may set it while the watch looks on."""
    found = [
        f"{module.name} takes {taken}"
        for module in modules()
        for taken in (*_spelled_out(module), *(module.imports() & WALL_NAMES))
        if (WALL.match(taken) or taken in WALL_NAMES) and module.name not in BY_THE_WALL
    ]
    assert not found, names(found)


WALL_NAMES = {"time.time", "time.time_ns", "kuraban.clock.wall_clock"}


def _spelled_out(module: Module) -> set[str]:
    """Dotted names in the code, called or handed on."""
    return {ast.unparse(node) for node in ast.walk(module.tree) if isinstance(node, ast.Attribute)}


def test_trade_is_numbers_alone() -> None:
    """The standard library is enough for it."""
    assert {lib for module in PURE if module.room == "trade" for lib in module.foreign_imports()} \
        == set()  # fmt: skip


@pytest.mark.parametrize("room", HEAVY)
def test_a_heavy_edge_is_imported_only_when_switched_on(room: str) -> None:
    """Nobody imports it at the top of a file but its own room, and one that is itself imported
    so: the watch stays small without."""
    at_the_top = [
        module.name
        for module in modules()
        if not module.name.startswith(room) and module.name not in HEAVY
        for name in _at_the_top(module)
        if f"{name}.".startswith(f"kuraban.{room}.")
    ]
    assert not at_the_top


def _at_the_top(module: Module) -> Iterator[str]:
    tree = module.tree
    yield from imports_of(type(tree)([node for node in tree.body if hasattr(node, "names")], []))


def test_data_never_become_code() -> None:
    """Nothing that is read, from a journal or from another process, can make anything run."""
    libraries = [
        f"{module.name} imports {name}"
        for module in modules()
        for name in module.imports()
        if name.partition(".")[0].removeprefix("_") in WAKES_DATA
    ]
    hooks = [
        f"{module.name} has {name}"
        for module in modules()
        for name in (*module.calls(), *_attributes(module))
        if WAKES.search(name)
    ]
    assert not libraries + hooks, names(libraries + hooks)


def _attributes(module: Module) -> Iterator[str]:
    """Methods that it defines, and whatever it reaches for by a dot."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.FunctionDef):
            yield node.name
        elif isinstance(node, ast.Attribute):
            yield node.attr


def test_only_the_command_line_exits() -> None:
    exits = re.compile(r"^(sys\.exit|exit|quit|os\._exit|typer\.Exit)$|SystemExit$")
    leaving = [
        f"{module.name} calls {call}"
        for module in modules()
        if module.room != "cli"
        for call in module.calls()
        if exits.search(call)
    ]
    assert not leaving, names(leaving)


# ------------------------------------------------------------------------------ who writes what

DETECTORS = [module for module in modules() if module.name.startswith("core.detectors.")]
VIEWS = (
    (Series, SeriesView), (ProbeState, ProbeView), (PlaceState, PlaceView),
    (SubjectState, SubjectView), (EntryLog, EntryLogView), (HouseState, HouseView),
)  # fmt: skip
"""What the watch writes, and how those see it who only read."""


def _changing() -> frozenset[str]:
    """Everything that a thing can do and its view does not show; and what lays a plan anew."""
    hidden = [members_of(whole) - members_of(view) for whole, view in VIEWS]
    return frozenset({"lay"}.union(*hidden))


def test_no_detector_writes_into_what_it_reads() -> None:
    """It tells what it concludes; what it must remember it keeps in itself."""
    classes = [
        node for module in DETECTORS for node in module.tree.body if isinstance(node, ast.ClassDef)
    ]
    lent, changing = lent_in(classes), _changing()
    assert "probe_state" in lent["Displaced"] and "view" in lent["Stopped"]
    found = [
        f"{module.name}, {write}"
        for module in DETECTORS
        for tree in (module.tree, *module.tree.body)
        if isinstance(tree, (ast.Module, ast.ClassDef))
        for write in writes(tree, lent, changing)
    ]
    assert not found, names(found)


@pytest.mark.parametrize(
    "line",
    [
        "self.view.dusk = True",
        "self.probe.suspect |= {'wild'}",
        "self.probe.held, self.since = None, now",
        "probe = self.view.probe_states['mid']; probe.suspect.add('wild')",
        "(self.probe.suspect.add if now else self.probe.suspect.discard)('wild')",
        "place, now = self.view.places['tank'], 1.0; place.refresh(now)",
        "self.view.entry_log.of('tank').masks.append(now)",
        "del self.view.places['tank']",
        "for one in self.view.places.values(): one.stale = True",
        "[one.series.add(now, 1.0) for one in self.view.places.values()]",
        "(self.view.batch('tank', now) or None).marks.clear()",
        "setattr(self.probe, 'value', 1.0)",
        "self.view._state.blind = now",
        "books = self.view.entry_log; books.version += 1",
    ],
)
def test_a_detector_that_writes_would_be_found(line: str) -> None:
    assert writes(_detector(line), lent_in([_detector(line)]), _changing()), line


@pytest.mark.parametrize(
    "line",
    [
        "self.since = self.view.probe_states['mid'].heard",
        "times = list(self.probe.series.times); times.append(now); del times[0]",
        "self.seen['mid'] = now; self.seen.clear()",
        "self.clock.holds = True; self.clock.spent += now",
        "self.since += now",
    ],
)
def test_what_a_detector_remembers_is_its_own(line: str) -> None:
    assert not writes(_detector(line), lent_in([_detector(line)]), _changing()), line


def _detector(line: str) -> ast.ClassDef:
    text = f"""
class Any(Detector):
    def settle(self):
        self.probe = self.view.probe_states[self.subject]
        self.seen, self.clock, self.since = {{}}, TimeOutside(), 0.0

    def look(self, now):
        {line}
"""
    (found,) = ast.parse(text).body
    assert isinstance(found, ast.ClassDef)
    return found


@pytest.mark.parametrize(
    ("written", "owners"),
    [
        ("suspect", {"core.probes.belief", "core.probes.probe_state"}),
        ("dusk", {"core.engine.conclusions", "core.house_state"}),
        ("blind", {"core.engine.self_monitoring", "core.house_state"}),
    ],
)
def test_what_the_watch_believes_has_one_owner(written: str, owners: set[str]) -> None:
    """Elsewhere it is read."""
    strangers = [
        f"{module.name}: {ast.unparse(node)}"
        for module in modules()
        if module.name not in owners
        for node in ast.walk(module.tree)
        if isinstance(node, (ast.Assign, ast.AugAssign, ast.AnnAssign))
        for target in (node.targets if isinstance(node, ast.Assign) else [node.target])
        if isinstance(target, ast.Attribute) and target.attr == written
    ]
    assert not strangers, names(strangers)


# ------------------------------------------------------------------------------ what belongs to it


def test_every_module_has_its_namesake_test() -> None:
    lacking = [
        f"{module.path.relative_to(ROOT)}: {namesake(module).relative_to(ROOT)} is missing"
        for module in modules()
        if not tells_only_names(module) and module.name != "__main__"
        if not namesake(module).exists()
    ]
    assert not lacking, names(lacking)


def test_no_function_outside_tests_is_unused() -> None:
    """Nor a class, a member, a name at the top of a file: what only tests need stands in tests."""
    found = unused(modules())
    assert not found, names(found)


@pytest.mark.parametrize("language", ["en", "ja"])
def test_every_condition_has_words_and_a_first_thing_to_do(language: str) -> None:
    """A condition with nothing to do about it would be no alarm."""
    texts = load_words().catalogue[language]
    lacking = [
        key
        for name in CONDITIONS
        for key in (f"{name}.name", f"{name}.first")
        if not texts.get(key)
    ]
    assert not lacking, names(lacking)


def test_every_command_is_in_the_readme() -> None:
    from kuraban.cli import command_line

    readme = code_spans((ROOT / "README.md").read_text("utf-8"))
    commands = typer.main.get_group(command_line()).commands
    lacking = [name for name in commands if not re.search(rf"\bkuraban {name}\b", readme)]
    assert not lacking, names(lacking)


def test_every_setting_is_in_the_readme() -> None:
    readme = code_spans((ROOT / "README.md").read_text("utf-8"))
    lacking = [key for key in _keys(SiteFile) if not _named(key, readme)]
    lacking += [key for key in _keys(CourseFile) if not _named(key, readme)]
    assert not lacking, names(sorted(set(lacking)))


def _keys(table: type[BaseModel], within: str = "") -> Iterator[str]:
    """Keys of a table and of the tables in it, each with the name of its own table before it."""
    for name, field in table.model_fields.items():
        key = field.alias or name
        inner = [t for t in _types(field.annotation) if issubclass(t, BaseModel)]
        if not inner:
            yield f"{within}{key}"
        for below in inner:
            yield from _keys(below, f"{key}.")


def _types(annotation: object) -> Iterator[type]:
    if isinstance(annotation, type) and not hasattr(annotation, "__args__"):
        yield annotation
    for part in getattr(annotation, "__args__", ()):
        yield from _types(part)


def _named(key: str, readme: str) -> bool:
    return bool(re.search(rf"(?<![\w-]){re.escape(key.rpartition('.')[2])}(?![\w-])", readme))


# -------------------------------------------------------------------------------------- the house


def test_the_top_level_is_what_it_is() -> None:
    wanted = {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "daemon", "deploy", "tests", "fixtures",
        "shared",
    }  # fmt: skip
    assert {path.name for path in ROOT.iterdir() if not path.name.startswith(".")} == wanted


def test_no_forbidden_words() -> None:
    found = []
    for path in text_files():
        text = path.read_text("utf-8", errors="replace")
        for pattern, why in FORBIDDEN.items():
            if match := re.search(pattern, text):
                line = text.count("\n", 0, match.start()) + 1
                found.append(f"{path.relative_to(ROOT)}:{line}: {match[0]!r}: {why}")
    assert not found, names(found)


def test_a_long_file_is_a_smell() -> None:
    """Told, not forbidden."""
    for path in text_files():
        lines = path.read_text("utf-8", errors="replace").count("\n")
        if path.suffix == ".py" and lines > LONG:
            warnings.warn(f"{path.relative_to(ROOT)} has {lines} lines", Smell, stacklevel=1)
