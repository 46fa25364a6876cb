"""Course files: what they say, what they leave unsaid, and what cannot be right."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kuraban.core.planned_curve import Course, Sides, Stage, Target
from kuraban.errors import ConfigurationError, Fault
from kuraban.settings import built_in_courses, load, read_course

Write = Callable[..., Path]
Faults = Callable[..., dict[str, Fault]]
BUILT_IN = {course.id: course for course in built_in_courses()}
HOUR, DAY = 3600.0, 86400.0


def broken(path: Path) -> dict[str, Fault]:
    with pytest.raises(ConfigurationError) as refused:
        read_course(path)
    assert all(fault.where == str(path) for fault in refused.value.faults)
    return {fault.key: fault for fault in refused.value.faults}


def first(path: Path) -> Stage:
    return read_course(path).stages[0]


# What a course leaves unsaid.


@pytest.mark.parametrize(
    ("kind", "delay", "limit_delay"), [("tank", 60, 20), ("starter", 30, 20), ("koji-bed", 15, 10)]
)
def test_delays_follow_what_is_brewed(
    course: Write, kind: str, delay: int, limit_delay: int
) -> None:
    """Koji runs away in minutes, a tank in hours (common practice)."""
    stage = first(course(('for = ["tank"]', f'for = ["{kind}"]')))
    assert (stage.delay, stage.limit_delay) == (delay * 60, limit_delay * 60)


def test_a_course_that_says_nothing_is_called_at_half_a_degree(course: Write) -> None:
    """Tolerance 0.5, notice 0.3, limit 1.0 (common practice)."""
    stage = first(course())
    assert stage.tolerance == Sides(0.5, 0.5)
    assert stage.notice == Sides(0.3, 0.3)
    assert stage.limit == Sides(1.0, 1.0)
    assert (stage.settle, stage.ends, stage.anchor) == (0.0, "crew", "mark")


def test_notice_and_limit_follow_the_tolerance(course: Write) -> None:
    """Each side by itself."""
    stage = first(course(more="tolerance = { below = 2.0, above = 1.0 }\n"))
    assert stage.notice == Sides(1.2, 0.6)
    assert stage.limit == Sides(4.0, 2.0)


def test_a_stages_own_figure_goes_above_the_defaults(course: Write) -> None:
    """Delay 0 is a figure too."""
    defaults = '[defaults]\ntolerance = 0.8\nlimit = 2.0\ndelay = "90m"\n\n[[stage]]'
    stage = first(course(("[[stage]]", defaults), more='tolerance = 1.0\ndelay = "0s"\n'))
    assert (stage.tolerance.above, stage.limit.above, stage.delay) == (1.0, 2.0, 0.0)


def test_a_stage_wider_than_the_limit_it_inherits_widens_it(small: Write, course: Write) -> None:
    """A tank that may read 9 after its first addition is not called far too cold at 11."""
    defaults = "[defaults]\nlimit = 1.0\n\n[[stage]]"
    wide = ("[[stage]]", defaults)
    course(wide, more="tolerance = { below = 3.5, above = 0.5 }\n")
    settings = load(small(("[site]", '[site]\ncourses = ["courses"]')), {})
    stage = settings.house.course["house-slow"].stages[0]
    assert stage.limit == Sides(3.5, 1.0)
    assert [fault.key for fault in settings.warnings] == ["stage[soe].tolerance"]


def test_a_title_is_a_text_or_one_for_each_language(course: Write) -> None:
    """A plain text serves both."""
    named = read_course(course(('for = ["tank"]', 'title = { ja = "低温" }')))
    assert named.title == {"ja": "低温"}
    plain = read_course(course(('for = ["tank"]', 'title = "Slow"')))
    assert plain.title == {"en": "Slow", "ja": "Slow"}
    assert plain.for_ == ("tank",)


# What cannot be right.


def test_ten_faults_of_one_course_are_told_together(course: Write) -> None:
    """Each with its stage, its key, and what would be right."""
    path = course(
        ('for = ["tank"]', 'for = ["tub"]\nday_one = "tom"\nnever = [16, 3]\nlenght = 3'),
        ("[[stage]]", "[defaults]\ntolerance = -1\n\n[[stage]]"),
        ('length = "1d"', 'length = "1 day"\nends = "clok"\nanchor = "days"'),
        more="""settle = 3
[[stage]]
id = "tome"
length = "1d"
points = []
air = { humidity = [60, 70], wet_bulb_depression = [3, 6] }
[[stage]]
id = "tome"
length = "1d"
points = [["0h", 500]]
limit = { below = 1 }
""",
    )
    found = broken(path)
    assert found["for"].right == "one of tank, starter, koji-bed"
    assert found["day_one"].right == 'did you mean "tome"?'
    assert found["never"].right == "the lower comes first: [3, 16]"
    assert found["lenght"].right.startswith("known are id, for")
    assert "below 0" in found["defaults.tolerance"].wrong
    assert "duration" in found["stage[soe].length"].right
    assert found["stage[soe].ends"].right == 'did you mean "clock"?'
    assert found["stage[soe].anchor"].right == 'did you mean "day"?'
    assert "duration" in found["stage[soe].settle"].right
    assert "planned temperature" in found["stage[tome].points"].right
    assert "give one of" in found["stage[tome].air"].right
    assert "below" in found["stage[tome].limit"].right
    assert found["stage[tome].id"].wrong == "2 stages have this id"


def test_bands_within_bands(course: Write) -> None:
    """Notice within tolerance within limit, on either side."""
    found = broken(
        course(more="tolerance = 1.0\nnotice = 1.2\nlimit = { below = 2, above = 0.8 }\n")
    )
    assert set(found) == {"stage[soe].notice", "stage[soe].limit"}
    assert "at most the tolerance" in found["stage[soe].notice"].right


def test_a_plan_beyond_never_is_a_fault(course: Write) -> None:
    """It would ring from the first minute."""
    found = broken(course(('for = ["tank"]', "never = [3.0, 12.5]")))
    assert "leaves never" in found["stage[soe].points"].wrong


def test_a_limit_that_reaches_beyond_never_is_a_word_of_warning(
    small: Write, course: Write
) -> None:
    """`never` rings at once, before the limit's own delay."""
    course(('for = ["tank"]', "never = [3.0, 13.5]"))
    settings = load(small(("[site]", '[site]\ncourses = ["courses"]')), {})
    assert [fault.key for fault in settings.warnings] == ["stage[soe].limit"]


def test_points_after_a_stage_has_ended_are_told(small: Write, course: Write) -> None:
    """A stage that ends by the clock never reaches them."""
    course(('length = "1d"', 'length = "12h"\nends = "clock"'))
    settings = load(small(("[site]", '[site]\ncourses = ["courses"]')), {})
    assert [fault.key for fault in settings.warnings] == ["stage[soe].points"]


def test_a_course_without_stages_is_a_fault(tmp_path: Path) -> None:
    """There is nothing to plan by."""
    path = tmp_path / "empty.toml"
    path.write_text('id = "empty"\n')
    assert broken(path)["stage"].right == "give stage"


def test_a_stage_in_single_brackets_is_a_fault(tmp_path: Path) -> None:
    """[stage] would be one stage that the next overwrites."""
    path = tmp_path / "one.toml"
    path.write_text('id = "one"\n[stage]\nid = "soe"\n')
    assert broken(path)["stage"].right == "write [[stage]] with two brackets"


def test_a_course_that_is_not_toml_says_the_line(course: Write) -> None:
    """File, line, and what was expected there."""
    (key,) = broken(course(('length = "1d"', "length = 1d")))
    assert key.startswith("line 7")


def test_a_houses_own_course_goes_above_the_built_in_one(small: Write, course: Write) -> None:
    """Copied and edited under the same id, the copy counts."""
    course(("house-slow", "moromi-slow-33"))
    house = load(small(("[site]", '[site]\ncourses = ["courses"]')), {}).house
    assert [stage.id for stage in house.course["moromi-slow-33"].stages] == ["soe"]
    assert len(house.courses) == len(BUILT_IN)


def test_two_own_courses_of_one_id_are_a_fault(small: Write, course: Write, faults: Faults) -> None:
    """Nobody could say which of them a batch was started on."""
    one, two = course(name="a.toml"), course(name="b.toml")
    found = faults(small(("[site]", '[site]\ncourses = ["courses"]')))
    assert found["id"].where == str(two)
    assert str(one) in found["id"].wrong


def test_a_folder_named_twice_is_read_once(small: Write, course: Write) -> None:
    """The same file is no rival of itself."""
    course()
    site = small(("[site]", '[site]\ncourses = ["courses", "./courses"]'))
    assert "house-slow" in load(site, {}).house.course


# The built-in courses. Every figure below is common practice, without a published source.


def at(course: Course, stage: str) -> Stage:
    position = course.index(stage)
    assert position is not None
    return course.stages[position]


def test_eighteen_courses_come_with_the_watch() -> None:
    """Titles in both languages; each says what it is for, and its name as well."""
    kinds = {"moromi": "tank", "sake": "tank", "starter": "starter", "koji": "koji-bed"}
    assert len(BUILT_IN) == 18
    for name, course in BUILT_IN.items():
        assert course.for_ == (kinds[name.split("-")[0]],)
    for course in BUILT_IN.values():
        assert set(course.title) == {"en", "ja"}
        assert all(set(stage.title) == {"en", "ja"} for stage in course.stages)


@pytest.mark.parametrize(
    ("name", "days", "own"),
    [  # common practice: interpolated between anchors
        (
            "moromi-ordinary-20",
            20,
            {2: 9.0, 3: 10.5, 5: 13.0, 8: 15.0, 12: 15.0, 18: 12.0, 20: 10.0},
        ),
        ("moromi-slow-33", 33, {2: 6.5, 5: 8.0, 9: 10.0, 10: 10.3, 14: 10.3, 23: 8.0, 33: 5.0}),
    ],
)
def test_the_day_tables_of_the_mash(name: str, days: int, own: dict[int, float]) -> None:
    """A point a day, on the day that the table says."""
    course = BUILT_IN[name]
    assert course.day_one == "tome"
    later = course.stages[(course.index("tome") or 0) + 1 :]
    begins = 2
    table: dict[int, float] = {}
    for stage in later:
        assert stage.anchor == "day"
        table |= {begins + int(elapsed // DAY): celsius for elapsed, celsius in stage.points}
        begins += int(stage.length // DAY)
    assert begins - 1 == days
    assert sorted(table) == list(range(2, days + 1))
    assert {day: table[day] for day in own} == own


def test_the_four_filling_days() -> None:
    """Additions at 12, 9.5, 8 and at 12, 7.5, 6 °C; a rest day one degree up (common practice)."""
    for name, degrees in (
        ("moromi-ordinary-20", (12.0, 13.0, 9.5, 8.0)),
        ("moromi-slow-33", (12.0, 13.0, 7.5, 6.0)),
    ):
        stages = [at(BUILT_IN[name], stage) for stage in ("soe", "odori", "naka", "tome")]
        assert tuple(stage.points[0][1] for stage in stages) == degrees
        assert [stage.settle / HOUR for stage in stages] == [3, 0, 3, 3]
        assert stages[0].length + stages[1].length == 48 * HOUR
        assert stages[1].ends == "crew"


def test_the_tolerances_of_the_mash() -> None:
    """Tolerance, limit, notice: ordinary 1.0 1.5 0.5, slow 0.5 1.0 0.3 (common practice)."""
    ordinary, slow = BUILT_IN["moromi-ordinary-20"], BUILT_IN["moromi-slow-33"]
    for course, figures in ((ordinary, (1.0, 1.5, 0.5)), (slow, (0.5, 1.0, 0.3))):
        stage = at(course, "moromi")
        assert (stage.tolerance.above, stage.limit.above, stage.notice.above) == figures
        odori = at(course, "odori")
        assert (odori.tolerance.above, odori.limit.above) == (1.0, 2.0)
        assert at(course, "naka").tolerance == at(course, "tome").tolerance == Sides(1.0, 1.0)
        assert all(60 <= stage.delay / 60 <= 90 for stage in course.stages)
    assert (at(slow, "rise").tolerance.above, at(slow, "rise").limit.above) == (1.0, 1.5)


def test_a_chilled_tank_at_9_on_the_evening_of_the_first_addition_is_right() -> None:
    """Brought to 10-11 °C by chilled water before the rice (common practice)."""
    for name in ("moromi-ordinary-20", "moromi-slow-33"):
        soe = at(BUILT_IN[name], "soe")
        assert soe.tolerance == Sides(3.5, 1.0)
        assert (soe.length, soe.ends) == (DAY, "clock")
        assert soe.course_at(14 * HOUR) - soe.tolerance.below < 9.0


def test_starters_stay_below_25() -> None:
    """1.0 and 2.0 °C, never above 24 (the old way 25, where 22 to 24 is its highest and 25 risks
    the yeast), 30 min (common practice); casks stand above the line."""
    for name, days, never in (
        ("starter-sokujo-14", 14, 24.0),
        ("starter-kimoto-28", 28, 25.0),
        ("starter-yamahai-28", 28, 25.0),
    ):
        course = BUILT_IN[name]
        assert course.never[1] == never
        assert sum(stage.length for stage in course.stages) == days * DAY
        assert {stage.delay for stage in course.stages} == {1800.0}
        rest = at(course, "utase")
        assert (rest.tolerance, rest.limit) == (Sides(1.0, 1.0), Sides(2.0, 2.0))
        assert at(course, "mae-daki").tolerance == Sides(1.0, 2.0)


def test_koji_takes_48_hours_and_stays_below_46() -> None:
    """1.0 and 2.0 °C, never above 46, 15 min; works in their order (common practice)."""
    for name in ("koji-tray-48", "koji-box-48"):
        course = BUILT_IN[name]
        *worked, out = course.stages
        assert [stage.id for stage in course.stages] == [
            "hikikomi", "toko-momi", "kirikaeshi", "mori", "naka-shigoto", "shimai-shigoto",
            "saiko", "de-koji",
        ]  # fmt: skip
        assert sum(stage.length for stage in worked) == 48 * HOUR
        assert (course.never[1], out.ends) == (46.0, "clock")
        assert all(stage.air is not None for stage in worked)
        for stage in course.stages:
            assert (stage.tolerance, stage.limit) == (Sides(1.0, 1.0), Sides(2.0, 2.0))
            assert (stage.delay, stage.limit_delay) == (900.0, 600.0)


def test_koji_is_kept_above_40_after_its_last_work() -> None:
    """40 to 41 °C at the last work, then a little above 40 for 8 to 12 h (common practice)."""
    for name in ("koji-tray-48", "koji-box-48"):
        last, highest = at(BUILT_IN[name], "shimai-shigoto"), at(BUILT_IN[name], "saiko")
        assert all(40.0 <= celsius <= 41.0 for _, celsius in last.points)
        assert all(40.0 < celsius <= 41.0 for _, celsius in highest.points)
        assert 8 * HOUR <= last.length + highest.length <= 12 * HOUR


def test_every_built_in_file_says_that_it_is_to_be_edited() -> None:
    """No newcomer shall take them for the standard."""
    from kuraban.settings.files.courses import BUILT_IN as folder

    for path in folder.glob("*.toml"):
        assert "Common practice, to edit" in path.read_text(encoding="utf-8").split("\n\n")[0]


@pytest.mark.parametrize(
    ("name", "stage", "low", "high"),
    [  # Nada Sake Research Group glossary: "Shubo mashing", "Sokujo shubo", "Hot saccharification
        # shubo", "Koji making processes", "Hiire"; highest of starters: textbooks
        ("starter-sokujo-14", "shikomi", 18, 20),
        ("starter-sokujo-14", "wakitsuki-yasumi", 20, 22),
        ("starter-kimoto-28", "shikomi", 6, 8),
        ("starter-kimoto-28", "wakitsuki-yasumi", 22, 24),
        ("starter-yamahai-28", "shikomi", 6, 9),
        ("starter-yamahai-28", "wakitsuki-yasumi", 22, 24),
        ("starter-hot-7", "shikomi", 55, 58),
        ("starter-warm-8", "shikomi", 23, 27),
        ("koji-tray-cool-48", "shimai-shigoto", 37, 39),
        ("koji-tray-cool-48", "saiko", 40, 42),
        ("koji-ginjo-52", "saiko", 41, 43),
        ("sake-heated", "heat", 62, 68),
    ],
)
def test_the_range_that_books_give_does_not_ring(
    name: str, stage: str, low: float, high: float
) -> None:
    """Once the stage has come to its own level; the opening degrees of a filling, their range."""
    shape = at(BUILT_IN[name], stage)
    where = shape.points[0] if stage == "shikomi" else shape.points[-1]
    assert where[1] - shape.tolerance.below <= low and high <= where[1] + shape.tolerance.above
    assert BUILT_IN[name].never[0] < low and high < BUILT_IN[name].never[1]


def test_ginjo_koji_is_dry_late() -> None:
    """A published note on ginjo box koji: ten degrees between the bulbs towards the end."""
    course = BUILT_IN["koji-ginjo-52"]
    bands = [stage.air.wet_bulb_depression for stage in course.stages if stage.air is not None]
    assert bands[0] == (2.0, 5.0)
    assert all(band is not None and band[0] <= 10.0 <= band[1] for band in bands[-2:])


def test_hands_that_work_koji_at_38_to_40_have_a_side_for_the_fall() -> None:
    """It is lowered by one to two degrees by the work (Nada glossary, "Koji making processes")."""
    for name in ("koji-tray-cool-48", "koji-bed-44", "koji-ginjo-52"):
        assert at(BUILT_IN[name], "shimai-shigoto").tolerance == Sides(2.5, 1.0)


# The lines that a house draws.

TOME = ('id = "soe"', 'id = "tome"')
DAYS = ('for = ["tank"]', 'for = ["tank"]\nday_one = "tome"')


def test_a_house_draws_its_lines_in_baume_or_in_smv(course: Write) -> None:
    """SMV is ten times Baume with the sign turned (Nada glossary, "SMV")."""
    drawn = "\n[target]\n{} = [[4, {}], [17.5, {}]]\nbmd = [[3, 24], [9, 36]]\n"
    baume = read_course(course(TOME, DAYS, more=drawn.format("baume_by_alcohol", 7.0, -0.3)))
    smv = read_course(course(TOME, DAYS, more=drawn.format("smv_by_alcohol", -70, 3)))
    assert (
        baume.target
        == smv.target
        == Target(by_alcohol=((4.0, 7.0), (17.5, -0.3)), bmd=((3.0, 24.0), (9.0, 36.0)))
    )
    assert read_course(course()).target is None


@pytest.mark.parametrize(
    ("line", "key", "right"),
    [
        ("bmd = [[9, 36], [3, 24]]", "target.bmd", "ascending order of moromi day"),
        ("bmd = [[3, 24]]", "target.bmd", "two points or more"),
        ("baume_by_alcohol = [[4, 7.0], [40, 0]]", "target.baume_by_alcohol", "alcohol"),
        ("smv_by_alcohol = [[4, -70], [17, 300]]", "target.smv_by_alcohol", "SMV"),
        ("bdm = [[3, 24], [9, 36]]", "target.bdm", "bmd"),
        ("baume_by_alcohol = [[4, 7], [17, 0]]\nsmv_by_alcohol = [[4, -70], [17, 3]]",
         "target.smv_by_alcohol", "once"),
    ],
)  # fmt: skip
def test_a_line_that_cannot_be_is_named(course: Write, line: str, key: str, right: str) -> None:
    faults = broken(course(TOME, DAYS, more=f"\n[target]\n{line}\n"))
    assert key in faults and right in f"{faults[key].wrong} {faults[key].right}"


def test_a_line_of_days_takes_a_course_that_counts_days(course: Write) -> None:
    faults = broken(course(more="\n[target]\nbmd = [[3, 24], [9, 36]]\n"))
    assert "day_one" in faults["target.bmd"].right
