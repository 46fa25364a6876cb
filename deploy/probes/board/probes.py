"""The probes on this board: digital ones on 1-wire, and Pt100 by a converter over SPI.

A probe that gives nothing, or something that fails its checksum, is None, never a number.
"""

import time

from machine import SPI, Pin

CONVERSION = 750
"""Milliseconds that a digital probe takes at 12 bits."""
A, B = 3.9083e-3, -5.775e-7
"""Of a Pt100 by IEC 60751; what it has below 0 °C besides is a thousandth of a degree at -20."""


def number_of(rom):
    """As Debian's kernel names it: 28-0316a2794f1e; so a probe has one number everywhere."""
    return "%02x-" % rom[0] + "".join("%02x" % byte for byte in reversed(rom[1:7]))


class OneWire:
    def __init__(self, pin, names):
        import onewire
        from ds18x20 import DS18X20

        self._bus, self._names = DS18X20(onewire.OneWire(Pin(pin))), names
        self._roms = {}
        self._look()
        for number in sorted(self._roms):
            print("pin %d: %s  %s" % (pin, number, names.get(number, "(no name yet)")))

    def read(self):
        """Each named probe with its °C, or None."""
        self._look()
        try:
            self._bus.convert_temp()
            time.sleep_ms(CONVERSION)
        except Exception:  # nothing hangs there at all
            pass
        for number, name in self._names.items():
            yield name, self._one(number)

    def _look(self):
        """Whatever hangs there; a probe that does not answer just now keeps its place."""
        try:
            self._roms.update((number_of(rom), rom) for rom in self._bus.scan())
        except Exception:
            pass

    def _one(self, number):
        try:
            return self._bus.read_temp(self._roms[number])
        except Exception:  # the library raises what it likes on a wrong checksum
            return None


class Pt100:
    """The converter's registers: 0x80 sets it up, 0x01 and 0x02 hold ratio and fault."""

    def __init__(self, bus, cs, wires=3, reference=430.0):
        self._bus, self._cs, self._reference = bus, Pin(cs, Pin.OUT, value=1), reference
        self._set_up = b"\x80\xd3" if wires == 3 else b"\x80\xc3"
        self._write(self._set_up)
        time.sleep_ms(100)

    def celsius(self):
        high, low = self._read(0x01, 2)
        if low & 1:
            self._write(self._set_up)  # forgets the fault and looks for it anew
            return None
        return celsius_of(((high << 8 | low) >> 1) * self._reference / 32768)

    def _write(self, data):
        self._cs(0)
        self._bus.write(data)
        self._cs(1)

    def _read(self, register, count):
        self._cs(0)
        self._bus.write(bytes([register]))
        got = self._bus.read(count)
        self._cs(1)
        return got


def celsius_of(ohm):
    """°C of a Pt100; None where no probe can have so many ohm (cut, or short)."""
    if not 80.0 < ohm < 150.0:
        return None
    return (-A + (A * A - 4 * B * (1 - ohm / 100.0)) ** 0.5) / (2 * B)


def readers(settings):
    """A function that gives every probe's id and its °C, or None."""
    wires = [OneWire(pin, names) for pin, names in settings.ONE_WIRE.items()]
    spi = settings.SPI
    bus = None
    if settings.PT100:
        pins = {name: Pin(spi[name]) for name in ("sck", "mosi", "miso")}
        bus = SPI(spi["id"], baudrate=500000, polarity=0, phase=1, **pins)
    converters = {name: Pt100(bus, **how) for name, how in settings.PT100.items()}

    def read():
        for wire in wires:
            yield from wire.read()
        for name, converter in converters.items():
            yield name, converter.celsius()

    return read
