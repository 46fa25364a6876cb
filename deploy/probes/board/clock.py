"""Milliseconds since this board started, and the time of day once a time server has told it.

All in whole numbers: the floats of most boards know a Unix time to two minutes.
"""

import socket
import struct
import time

FROM_1900 = 2208988800
"""Seconds from NTP's year to Unix's."""
NOT_BEFORE = 1577836800000
"""2020: an answer before that is none."""


class Clock:
    def __init__(self):
        self._ticks, self._up = time.ticks_ms(), 0
        self.started = None
        """Unix milliseconds at which this board started; None as long as nobody has told it."""

    def up(self):
        """To be asked at least once in some days: the board's own count begins anew."""
        now = time.ticks_ms()
        self._up += time.ticks_diff(now, self._ticks)
        self._ticks = now
        return self._up

    def ask(self, host, port=123, patience=2):
        """Ask a time server (RFC 4330); OSError where none answers."""
        line = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        try:
            line.settimeout(patience)
            line.connect(socket.getaddrinfo(host, port)[0][-1])
            line.send(b"\x1b" + bytes(47))
            answer = line.recv(48)
            up = self.up()
        finally:
            line.close()
        if len(answer) < 48 or answer[0] & 7 != 4 or answer[0] >> 6 == 3 or not 0 < answer[1] < 16:
            raise OSError("a time server without the time")
        seconds, part = struct.unpack(">II", answer[40:48])
        if seconds < 1 << 31:
            seconds += 1 << 32  # from 2036 on NTP counts anew
        now = (seconds - FROM_1900) * 1000 + (part * 1000 >> 32)
        if now < NOT_BEFORE:
            raise OSError("a time server without the time")
        self.started = now - up
        _set(now // 1000)


def _set(seconds):
    """The board's own clock, by which some look at certificates; where it has one."""
    try:
        from machine import RTC
    except ImportError:
        return
    epoch = 946684800 if time.gmtime(0)[0] == 2000 else 0
    year, month, day, hour, minute, second, weekday, _ = time.gmtime(seconds - epoch)[:8]
    RTC().datetime((year, month, day, weekday, hour, minute, second, 0))
