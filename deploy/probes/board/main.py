"""Reads this board's probes and sends them to the broker, each under its own topic.

What could not be sent is kept through power cuts (`keep`). With the time of day a reading carries
it; without, what is sent at once carries none, and what is sent later says how long ago it was. A
probe that answers nothing sends -127, which the watch knows as a bus that has lost its probe.
"""

import sys
import time

import machine
import settings
from clock import Clock
from keep import Kept
from mqtt import RETRY, Broker, Refused
from probes import readers

LOST = "-127"
ANEW = 6 * 3600 * 1000
"""Milliseconds after which the time is asked for again."""


class Board:
    def __init__(self, settings, watchdog, line):
        self.set, self.watchdog, self.line = settings, watchdog, line
        self.clock, self.kept = Clock(), Kept("kept", settings.KEEP)
        self.broker, self.said = None, None
        self._next_try = self._next_time = self._spoke = 0
        self._batch, self._done = None, set()

    def read(self, probes):
        """Every probe once. Each is on the disk or at the broker when this returns."""
        for name, celsius in probes():
            self.watchdog.feed()
            up, started = self.clock.up(), self.clock.started
            if celsius is None:
                self.live(name, LOST.encode())
                continue
            value, ms = "%.4f" % celsius, up if started is None else started + up
            # Behind what waits it waits too, so that all comes in order.
            body = value.encode() if started is None else dated(value, ms)
            if self.kept or not self.live(name, body):
                self.kept.add(name, value, ms, started is not None)

    def live(self, name, payload):
        """Whether the broker has it."""
        if self.broker is None:
            return False
        try:
            self.say(name, payload)
        except OSError as error:
            self.away(error)
            return False
        return True

    def say(self, name, payload):
        try:
            self.broker.say("%s/reading/%s" % (self.set.ROOT, name), payload)
        except Refused as error:
            self.tell(str(error))
        self._spoke = self.clock.up()

    def turn(self):
        """Some of what is due: the time, the broker, a part of what waits."""
        up = self.clock.up()
        if self.set.NTP and up >= self._next_time:
            self._next_time = up + self.ask()
        if self.broker is None and up >= self._next_try:
            self.enter()
            self._next_try = self.clock.up() + RETRY
        if self.broker is not None:
            try:
                if self.kept:
                    self.send_kept()
                elif self.clock.up() - self._spoke > 20000:
                    self.broker.ping()
                    self._spoke = self.clock.up()
            except OSError as error:
                self.away(error)

    def ask(self):
        """Milliseconds until the time is asked for again."""
        host, _, port = self.set.NTP.partition(":")
        try:
            self.clock.ask(host, int(port or 123))
        except OSError:
            return RETRY
        self.kept.started(self.clock.started)
        return ANEW

    def enter(self):
        one = self.set
        try:
            if self.line is not None and not self.line.isconnected():
                self.line.connect(*one.WIFI)
                raise OSError("no network yet")
            self.broker = Broker(one.BROKER, one.PORT, one.USER, one.PASSWORD, one.CA)
        except OSError as error:
            self.away(error)
            return
        self._spoke = self.clock.up()
        self.tell("connected")

    def away(self, error):
        if self.broker is not None:
            self.broker.close()
            self.broker = None
        self.tell("no broker: %s" % error)

    def send_kept(self):
        """The oldest of what waits, one message a probe; those of a batch that was cut off are not
        sent again."""
        self._batch = self._batch or self.kept.batch()
        found, token = self._batch
        for name in sorted({one[0] for one in found} - self._done):
            self.say(name, self.together(name, [one for one in found if one[0] == name]))
            self._done.add(name)
            self.watchdog.feed()
        self._batch, self._done = None, set()
        self.kept.sent(token)
        if self.kept.lost:
            print("%d kept readings are lost: full, or of an unknown time" % self.kept.lost)
            self.kept.lost = 0

    def together(self, name, readings):
        """A list; readings without a time of day by how long ago they were (SenML, RFC 8428)."""
        up = self.clock.up()
        if all(known for _, _, _, known in readings):
            return b"[" + b",".join(dated(value, ms) for _, value, ms, _ in readings) + b"]"
        now = up if self.clock.started is None else self.clock.started + up
        ago = (
            '{"n":"%s","v":%s,"t":-%s}' % (name, value, seconds((now if known else up) - ms))
            for _, value, ms, known in readings
        )
        return ("[" + ",".join(ago) + "]").encode()

    def tell(self, line):
        """On the serial line, once."""
        if line != self.said:
            self.said = line
            print(line)


def seconds(ms):
    return "%d.%03d" % (ms // 1000, ms % 1000)


def dated(value, ms):
    return ('{"value":%s,"at":%s}' % (value, seconds(ms))).encode()


def wifi(settings):
    """The way to the network, which comes when it comes: what is read meanwhile is kept."""
    if not settings.WIFI:
        return None
    import network

    line = network.WLAN(network.STA_IF)
    line.active(True)
    line.connect(*settings.WIFI)
    return line


def run():
    probes = readers(settings)
    board = Board(settings, machine.WDT(timeout=8000), wifi(settings))
    due = board.clock.up()
    while True:
        board.watchdog.feed()
        if board.clock.up() >= due:
            due = max(due + int(settings.EVERY * 1000), board.clock.up())
            board.read(probes)
        board.turn()
        if not (board.kept and board.broker):
            time.sleep_ms(max(1, min(200, due - board.clock.up())))


try:
    run()
except Exception as error:  # whatever it is: told, and begun anew
    sys.print_exception(error)
    time.sleep(5)
    machine.reset()
