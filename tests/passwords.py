"""Passwords of invented people, hashed as the pages keep them: once each, since it is slow on
purpose."""

from __future__ import annotations

from functools import cache

from kuraban.edges.web.security.accounts import hash_password

hashed = cache(hash_password)
