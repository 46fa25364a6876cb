"""The command line: `kuraban` and its commands, the only place that exits.

Exit status: 0 done, or asked to stop; 1 the broker or a phone service did not take it, or the
journal was looked through and is not sound; 2 the site, a course, a recording or what was asked
cannot be used, one line a fault; 3 no journal can be opened. Errors go to standard error.
"""

from __future__ import annotations

from kuraban.cli.app import command_line, main

__all__ = ["command_line", "main"]
