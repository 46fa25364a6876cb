"""What a phone needs to have the pages on its home screen, and to open them out of reach.

A page that was open once is kept by the phone; where the watch cannot be reached it is shown again
and says how old it is. What was never open is told by a page of its own. Kept pages go at signing
out: the next one to hold the phone need not see them.
"""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse, JSONResponse, Response

from kuraban.edges.web.page_context import Anybody, Context
from kuraban.edges.web.templating import STATIC, page, static

router = APIRouter(include_in_schema=False)

PAPER = "#FAF7F0"
ICONS = ((192, "any"), (512, "any"), (512, "maskable"))


@router.get("/site.webmanifest")
def manifest(context: Context, visitor: Anybody) -> Response:
    site, w = context.house.site.name, context.translator(visitor.language)
    told = {
        "name": site,
        "short_name": site[:12],
        "lang": visitor.language,
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": PAPER,
        "theme_color": PAPER,
        "icons": [
            {"src": static(f"icon-{size}.png"), "sizes": f"{size}x{size}", "type": "image/png",
             "purpose": purpose}
            for size, purpose in ICONS
        ],
        "shortcuts": [
            {"name": w(f"nav.{name}"), "url": f"/{name}"} for name in ("round", "rings", "coolers")
        ],
    }  # fmt: skip
    return JSONResponse(told, media_type="application/manifest+json")


@router.get("/keeper.js")
def keeper() -> Response:
    """The script that keeps pages: it has to lie at the root to keep all of them."""
    return FileResponse(STATIC / "keeper.js", media_type="text/javascript")


@router.get("/favicon.ico")
def favicon() -> Response:
    return FileResponse(STATIC / "icon-192.png", media_type="image/png")


@router.get("/away")
def away(request: Request, context: Context, visitor: Anybody) -> Response:
    """For a page that was never open on this phone."""
    return page(request, context, visitor, "away.html")
