"""The program that watches: it holds what the watch needs and nothing else.

Whoever reads a site file and the words of a command line takes libraries of some 20 MB that the
watch never needs again. So `kuraban run` reads the settings, hands them over in a file that lies in
memory alone, and becomes this program: the same process to whoever started it, only smaller. Where
the system knows no such file the watch runs where it was read.

python -m kuraban.runtime.watch_main NUMBER-OF-THE-OPEN-FILE
"""

from __future__ import annotations

import signal
import sys

from kuraban.edges.standard_error import log_lines, told
from kuraban.errors import KurabanError
from kuraban.settings import handover
from kuraban.settings.catalogues import load_words
from kuraban.settings.model import Settings
from kuraban.settings.systemd_environment import supervision


def watch(settings: Settings) -> None:
    """Watch until asked to stop; raises what `Watch` raises."""
    from kuraban.edges.supervisor import Supervisor
    from kuraban.runtime.watch import Watch

    asked = supervision()
    log_lines(supervised=asked.socket is not None)
    running = Watch(settings, load_words(), supervisor=Supervisor(*asked))
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: running.stop())
    running.run()


def main(file: int) -> int:
    """Watch by the settings in the open file of that number; the exit status."""
    with open(file, "rb") as stream:
        settings = handover.unpack(stream.read())
    try:
        watch(settings)
    except KurabanError as error:
        return told(error)
    return 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1])))
