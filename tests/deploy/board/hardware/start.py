"""Starts the board's program on MicroPython's Unix port, what it keeps on a flash of its own
(littlefs in a file), whose power a test may cut while a block is being written."""

import os
import sys

import keep
import mqtt
import probes
from machine import HERE

SIZE, BLOCKS = 4096, int(os.getenv("BLOCKS") or "64")
CUT = int(os.getenv("CUT") or "0")
"""How many blocks are still written whole; 0 for all."""


class Flash:
    def __init__(self, path):
        self._written = 0
        try:
            self._file = open(path, "r+b")
            self.fresh = False
        except OSError:
            self._file = open(path, "w+b")
            self._file.write(b"\xff" * (SIZE * BLOCKS))
            self.fresh = True

    def readblocks(self, number, into, offset=0):
        self._file.seek(number * SIZE + offset)
        self._file.readinto(into)

    def writeblocks(self, number, data, offset=0):
        self._written += 1
        cut = CUT and self._written >= CUT
        self._file.seek(number * SIZE + offset)
        self._file.write(data[: len(data) // 2] if cut else data)
        self._file.flush()
        if cut:
            print("the power is cut")
            os.system("kill -9 $PPID")

    def ioctl(self, what, arg):
        if what == 4:
            return BLOCKS
        if what == 5:
            return SIZE
        if what == 6:
            self._file.seek(arg * SIZE)
            self._file.write(b"\xff" * SIZE)
            self._file.flush()
        return 0


probes.CONVERSION, mqtt.RETRY = 1, 500
mqtt.PATIENCE = int(os.getenv("PATIENCE") or "1")
keep.LINES = int(os.getenv("LINES") or "100")
flash = Flash(HERE + "/flash")
if flash.fresh:
    os.VfsLfs2.mkfs(flash)
os.mount(os.VfsLfs2(flash), "/flash")
os.chdir("/flash")
sys.path.append(HERE)
import main  # noqa: E402,F401
