"""The bus of `ds18x20`, for MicroPython's Unix port."""


class OneWire:
    def __init__(self, pin):
        self.pin = pin
