"""The hardware of a board for MicroPython's Unix port: what a test lays into a folder is what hangs
on its pins. A watchdog that was not fed in time ends the program."""

import os
import sys
import time

HERE = os.getenv("HARDWARE")
BITTEN = 86


class Pin:
    OUT = 1

    def __init__(self, number, mode=None, value=0):
        self.number, self.level = number, value

    def __call__(self, level):
        self.level = level


class SPI:
    """One converter: its registers stand in the file `pt100`, the ratio as a number of 15 bits."""

    def __init__(self, number, **pins):
        self._asked = 0

    def write(self, data):
        self._asked = data[0]

    def read(self, count):
        with open(HERE + "/pt100") as file:
            raw = int(file.read())
        return bytes([raw >> 8 & 255, raw & 255])[:count] if self._asked == 1 else bytes(count)


class WDT:
    def __init__(self, timeout):
        self._timeout, self._fed = timeout, time.ticks_ms()

    def feed(self):
        now = time.ticks_ms()
        if time.ticks_diff(now, self._fed) > self._timeout:
            print("the watchdog bites")
            sys.exit(BITTEN)
        self._fed = now


def reset():
    sys.exit(BITTEN + 1)
