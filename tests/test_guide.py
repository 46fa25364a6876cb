"""The guide says what there is: its words, links, commands and site files are the watch's own."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path

import pytest
import typer
from click import Command, Context, Group

from kuraban.cli import command_line
from kuraban.cli.log import _told as entry_fields
from kuraban.core.alarm_conditions import CONDITIONS
from kuraban.core.facts import Logged
from kuraban.core.intake.entry_parser import entry_from
from kuraban.core.units import parse_time
from kuraban.edges.web.views.guide import slug
from kuraban.settings import load

ROOT = Path(__file__).parents[1]
SHARED = ROOT / "shared"
GUIDE = SHARED / "guide"
LANGUAGES = ("en", "ja")
FILES = sorted(GUIDE.rglob("*.md"))
PAIRED = sorted(path.name for path in (GUIDE / "en").glob("*.md"))
WHO = {
    "en": {"brewer": "brewer", "maintenance": "maintenance", "crew": "crew"},
    "ja": {"brewer": "杜氏・頭", "maintenance": "設備担当", "crew": "蔵人"},
}
WHEN = {"en": {"wake": "any hour", "duty": "by day"}, "ja": {"wake": "夜も鳴る", "duty": "日中"}}
HEADING = re.compile(r"^(#+) (.+)$", re.MULTILINE)
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```", re.MULTILINE | re.DOTALL)
SPAN = re.compile(r"`([^`\n]+)`")
HALF = re.compile(r"[()%:]")
"""Signs that Japanese text has in full width."""
NOON = parse_time("2026-02-11T12:00:00+09:00")
HEAD = '[site]\nname = "Nowhere"\ntimezone = "Asia/Tokyo"\n[mqtt]\nhost = "127.0.0.1"\n'


def of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def catalogue(language: str) -> str:
    """Everything that messages, pages and courses can say, without keys and fields."""
    said: list[str] = []

    def gather(table: dict[str, object]) -> None:
        for value in table.values():
            if isinstance(value, dict):
                gather(value)
            else:
                said.append(re.sub(r"\{[^}]*\}|`[^`]*`", "", str(value)))

    for course in (SHARED / "courses").glob("*.toml"):
        read = tomllib.loads(course.read_text("utf-8"))
        gather({str(at): one["title"][language] for at, one in enumerate((read, *read["stage"]))})
    for folder in ("words", "pages"):
        gather(tomllib.loads((SHARED / folder / f"{language}.toml").read_text("utf-8")))
    return "\n".join(said)


def prose(language: str) -> str:
    """The guide without its glossary and without code."""
    texts = [path.read_text("utf-8") for path in sorted((GUIDE / language).glob("*.md"))
             if path.name != "glossary.md"]  # fmt: skip
    plain = "\n".join(line for text in texts for line in BLOCK.sub("", text).splitlines()
                      if not line.startswith("    "))  # fmt: skip
    return re.sub(r"\]\([^)]*\)", "", SPAN.sub("", plain))


def rows(language: str) -> list[list[str]]:
    """Own word, the other language's, meaning, what is never written."""
    text = (GUIDE / language / "glossary.md").read_text("utf-8")
    lines = [line for line in text.splitlines() if line.startswith("| ")][1:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def commands() -> list[tuple[str, str]]:
    """Every command shown, with its file."""
    found = set()
    for path in FILES:
        text = path.read_text("utf-8")
        shown = [*SPAN.findall(text), *(line.strip() for line in text.splitlines())]
        shown = [line.removeprefix("sudo ") for line in shown]
        found |= {(of(path), line) for line in shown if line.startswith("kuraban ")}
    return sorted(found)


def snippets() -> list[tuple[str, str]]:
    return [(of(path), text) for path in FILES
            for kind, text in BLOCK.findall(path.read_text("utf-8")) if kind == "toml"]  # fmt: skip


def test_both_languages_have_the_same_pages_and_sections() -> None:
    assert sorted(path.name for path in (GUIDE / "ja").glob("*.md")) == PAIRED
    for name in PAIRED:
        depths = [[len(marks) for marks, _ in HEADING.findall(
            (GUIDE / language / name).read_text("utf-8"))] for language in LANGUAGES]  # fmt: skip
        assert depths[0] == depths[1], name


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_condition_has_its_section(language: str) -> None:
    """Under its name, with what people call it, whose it is, and whether it rings at night."""
    text = (GUIDE / language / "alarms.md").read_text("utf-8")
    told = dict(re.findall(r"^### (\S+)\n\n(.+)$", text, re.MULTILINE))
    words = tomllib.loads((SHARED / "words" / f"{language}.toml").read_text("utf-8"))
    assert set(told) == set(CONDITIONS)
    for name, condition in CONDITIONS.items():
        comma = {"en": ", ", "ja": "、"}[language]
        who, when = WHO[language][condition.role], WHEN[language][condition.urgency]
        assert told[name].startswith(f"**{words[name]['name']}** · {who}{comma}{when}"), name


@pytest.mark.parametrize("path", FILES, ids=of)
def test_every_link_leads_somewhere(path: Path) -> None:
    """To a file that is there, and to a heading in it."""
    for link in re.findall(r"\]\(([^)]+)\)", path.read_text("utf-8")):
        file, _, heading = link.partition("#")
        goal = path.parent / file if file else path
        assert goal.exists(), link
        if heading:
            slugs = [slug(title) for _, title in HEADING.findall(goal.read_text("utf-8"))]
            assert heading in slugs, link


def parsed(command: Command, name: str, words: list[str], above: Context | None = None) -> None:
    """Read a command line as the command would, down to its last word, and run nothing."""
    context = command.make_context(name, words, parent=above)
    if isinstance(command, Group) and context.protected_args + context.args:
        below, inner, rest = command.resolve_command(
            context, [*context.protected_args, *context.args]
        )
        assert inner is not None
        parsed(inner, below or "", rest, context)


@pytest.mark.parametrize(("file", "line"), commands())
def test_every_command_shown_exists_and_parses(file: str, line: str) -> None:
    parsed(typer.main.get_command(command_line()), "kuraban", shlex.split(line, comments=True)[1:])


@pytest.mark.parametrize(("file", "line"), [one for one in commands() if "kuraban log " in one[1]])
def test_every_entry_shown_is_one_that_the_watch_takes(file: str, line: str) -> None:
    """Said of the places and people of the invented brewery."""
    settings = load(ROOT / "fixtures" / "brewery" / "site.toml", {})
    words = shlex.split(line, comments=True)[2:]
    more = {word: words.pop(words.index(word) + 1) for word in ("--by", "--at") if word in words}
    subject, entry, *fields = [word for word in words if not word.startswith("--")]
    told = entry_fields(settings, subject, entry, fields, more.get("--by"), more.get("--at"), NOON)
    logged = entry_from(dict(told), subject, settings.house, NOON, "command")
    assert isinstance(logged, Logged), logged.reason
    if "--by" in more:
        assert settings.house.person_called(str(logged.by)) is not None


@pytest.mark.parametrize(("file", "text"), snippets())
def test_every_site_file_shown_passes_check(file: str, text: str, tmp_path: Path) -> None:
    site = tmp_path / "site.toml"
    site.write_text(("" if "[site]" in text else HEAD) + text, "utf-8")
    assert load(site, {}).house.probe, file


def test_the_glossary_is_one_in_both_languages() -> None:
    assert [(own, other) for own, other, *_ in rows("en")] == [
        (other, own) for own, other, *_ in rows("ja")
    ]


@pytest.mark.parametrize("language", LANGUAGES)
def test_each_word_of_the_glossary_is_said_and_its_variants_are_not(language: str) -> None:
    """In the catalogues of messages and pages, and in the guide."""
    said = catalogue(language)
    for own, _, _, never in rows(language):
        assert own.lower() in said.lower(), f"nothing says {own}"
        without = (said + prose(language)).replace(own, "")
        for variant in filter(None, never.strip("–").split(", ")):
            assert variant not in without, f"{variant} stands where {own} is the word"


def test_japanese_text_has_signs_of_one_width() -> None:
    """Full width in sentences; code and numbers with a unit keep theirs."""
    lines = (catalogue("ja") + "\n" + prose("ja")).splitlines()
    odd = [line for line in lines if HALF.search(re.sub(r'\d\d:\d\d|"[^"]*"', "", line))]
    assert odd == []
