"""The pages: FastAPI, Jinja2 and server-sent events, in a process beside the watch."""

from __future__ import annotations

from kuraban.edges.web.live.snapshot_hub import SnapshotHub
from kuraban.edges.web.security.accounts import hash_password
from kuraban.edges.web.server import Pages

__all__ = ["Pages", "SnapshotHub", "hash_password"]
