"""Probes on 1-wire for MicroPython's Unix port. A file in the folder is a probe, named by its eight
bytes; in it stands what it measures: a number, `counts` for one sixteenth more at each reading
(written down in `ledger`), or anything else for noise."""

import os

from machine import HERE


class DS18X20:
    def __init__(self, bus):
        self._counted = 0

    def scan(self):
        return [bytes.fromhex(name) for name in os.listdir(HERE + "/wire")]

    def convert_temp(self):
        pass

    def read_temp(self, rom):
        with open(HERE + "/wire/" + rom.hex()) as file:
            text = file.read()
        if text == "counts":
            with open(HERE + "/ledger", "a") as ledger:
                ledger.write(".")
            return os.stat(HERE + "/ledger")[6] / 16
        try:
            return float(text)
        except ValueError:
            raise Exception("CRC error") from None
