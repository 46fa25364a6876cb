"""Wi-Fi for MicroPython's Unix port: it is there once the file `wifi` is, and each asking is a dot
in `asked`."""

import os

from machine import HERE

STA_IF = 0


class WLAN:
    def __init__(self, kind):
        pass

    def active(self, on):
        pass

    def connect(self, name, password):
        with open(HERE + "/asked", "a") as file:
            file.write(".")

    def isconnected(self):
        return "wifi" in os.listdir(HERE)
