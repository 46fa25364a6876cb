"""The pages: FastAPI, Jinja2 and server-sent events, in a process beside the watch."""

from __future__ import annotations

from kuraban.edges.pages.accounts import hash_password
from kuraban.edges.pages.board import PictureBoard
from kuraban.edges.pages.server import Pages

__all__ = ["Pages", "PictureBoard", "hash_password"]
