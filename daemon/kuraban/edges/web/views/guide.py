"""The guide: the Markdown files of `shared/guide/`, each a page, in the reader's language.

Anybody may read it, signed in or not: it says nothing of this house. Pictures are left out, since
the pages that they show are one tap away.
"""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files
from typing import NamedTuple

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import HTMLResponse
from markdown_it import MarkdownIt

from kuraban.edges.web.page_context import Anybody, Context
from kuraban.edges.web.templating import page

router = APIRouter(include_in_schema=False)

FIRST = "index"
NAMED = re.compile(r"[a-z-]{1,40}")
LINK = re.compile(r"([a-z-]+)\.md(#.*)?")
TABLE = re.compile(r"<table>(.*?)</table>", re.DOTALL)


class Part(NamedTuple):
    title: str
    html: str


@router.get("/guide")
def contents(request: Request, context: Context, visitor: Anybody) -> HTMLResponse:
    return part(request, context, visitor, FIRST)


@router.get("/guide/{part}")
def part(request: Request, context: Context, visitor: Anybody, part: str) -> HTMLResponse:
    read = guide(visitor.language, part) if NAMED.fullmatch(part) else None
    if read is None:
        raise HTTPException(404)
    return page(request, context, visitor, "guide.html", part=read, first=part == FIRST)


@cache
def guide(language: str, part: str) -> Part | None:
    """One page of the guide, None where there is no such page."""
    file = files("kuraban") / "shared" / "guide" / language / f"{part}.md"
    return shown(file.read_text("utf-8"), language) if file.is_file() else None


def shown(text: str, language: str) -> Part:
    """Markdown as a page; headings can be linked to, links to other files lead to pages.

    Japanese lines are joined without the space that a browser would put between them.
    """
    reader = MarkdownIt("commonmark", {"html": False}).enable("table")
    reader.add_render_rule("image", lambda *_: "")
    if language == "ja":
        reader.add_render_rule("softbreak", lambda *_: "")
    title, tokens = "", reader.parse(text)
    for token, after in zip(tokens, [*tokens[1:], *tokens[:1]], strict=True):
        if token.type == "heading_open":
            token.attrSet("id", slug(after.content))
            title = title or after.content
        for inner in token.children or ():
            if inner.type == "link_open":
                inner.attrSet("href", LINK.sub(_address, str(inner.attrGet("href"))))
    html = str(reader.renderer.render(tokens, reader.options, {}))
    return Part(
        title, TABLE.sub(r'<div class="wide-table" tabindex="0"><table>\1</table></div>', html)
    )


def slug(heading: str) -> str:
    """The name by which a heading is linked to, as code hosts make it."""
    return re.sub(r"[^\w-]", "", heading.strip().lower().replace(" ", "-"))


def _address(link: re.Match[str]) -> str:
    path = "/guide" if link[1] == FIRST else f"/guide/{link[1]}"
    return path + (link[2] or "")
