"""What could not be sent: lines appended to files, so that a power cut loses at most the last one.

A line bears a checksum; one that was torn is passed over. Files are small and numbered: what was
sent goes file by file, and where all is full the oldest file goes. Each start begins a new file, so
nothing is ever written behind a torn line. A time is Unix milliseconds, or, as long as nobody has
told the board the time, milliseconds since its start and a name for that start; a line in `starts`
says when a start was, once that is known.
"""

import os
from binascii import crc32, hexlify

LINES = 100
"""Lines of a file."""
AT_ONCE = 25
"""Lines that are handed out at a time."""
IN_MEMORY = 60
"""Lines that are held where nothing can be written."""


class Kept:
    def __init__(self, folder, most):
        self._folder, self._files_at_most = folder, max(2, most // LINES)
        self.boot = hexlify(os.urandom(4)).decode()
        try:
            os.mkdir(folder)
        except OSError:
            pass
        self._files = sorted(int(name) for name in os.listdir(folder) if name.isdigit())
        self._next = self._files[-1] + 1 if self._files else 1
        self._own = None  # the file that is written to, and how many lines it has
        self._filled = 0
        self._place = 0  # how far the oldest file has been handed out
        self._held = []
        self.lost = 0
        self._starts = self._read_starts()

    def __bool__(self):
        return bool(self._files or self._held)

    def add(self, probe, value, ms, dated):
        """A reading; `ms` counts from 1970 where it is `dated`, else from this board's start."""
        line = "%s %s %s %d" % (probe, value, "-" if dated else self.boot, ms)
        self._held.append("%s %08x\n" % (line, crc32(line.encode())))
        self._write()

    def started(self, ms):
        """This board started at that Unix time: told once, and then never otherwise."""
        if self.boot not in self._starts:
            self._starts[self.boot] = ms
            try:
                with open(self._folder + "/starts", "a") as file:
                    file.write("\n%s %d " % (self.boot, ms))
            except OSError:
                pass  # known until the power goes

    def batch(self):
        """The oldest readings as (probe, value, milliseconds, dated), and what `sent` must be given
        for them. Those of an earlier start whose time nobody knows are lost, and counted."""
        self._write()
        if not self._files:
            return [self._told(line) for line in self._held], (None, list(self._held))
        found, place, number = [], self._place, self._files[0]
        try:
            with open(self._path(number), "rb") as file:
                file.seek(place)
                while len(found) < AT_ONCE:
                    line = file.readline()
                    if not line:
                        break
                    place += len(line)
                    told = self._told(line)
                    if told is not None and told not in found:
                        found.append(told)
        except OSError:
            place = self._size(number)  # it cannot be read: passed over
        return found, (number, place)

    def sent(self, token):
        number, place = token
        if number is None:
            if self._held[: len(place)] == place:
                self._held = self._held[len(place) :]
        elif self._files and self._files[0] == number:
            self._place = place
            if place >= self._size(number):
                self._drop()
        if not self:
            self._starts = {boot: ms for boot, ms in self._starts.items() if boot == self.boot}
            _remove(self._folder + "/starts")

    def _told(self, line):
        try:
            text = line.decode() if isinstance(line, bytes) else line
            body, told = text.rstrip("\n").rsplit(" ", 1)
            if int(told, 16) != crc32(body.encode()):
                return None
            probe, value, boot, ms = body.split(" ")
            ms = int(ms)
        except (ValueError, UnicodeError):
            return None
        if boot == "-":
            return probe, value, ms, True
        if boot in self._starts:
            return probe, value, self._starts[boot] + ms, True
        if boot == self.boot:
            return probe, value, ms, False
        self.lost += 1
        return None

    def _write(self):
        """Everything that is held, to the disk; where that is full the oldest file makes room."""
        for _ in range(3):
            if not self._held:
                return
            try:
                self._append()
            except OSError:
                if self._own is not None:
                    self._own = None  # what it holds stays; its last line may be torn
                if len(self._files) > 1:
                    self._lose()
        while len(self._held) > IN_MEMORY:
            self._held.pop(0)
            self.lost += 1

    def _append(self):
        if self._own is None or self._filled >= LINES:
            if len(self._files) >= self._files_at_most:
                self._lose()
            self._own, self._filled = self._next, 0
            self._next += 1
            self._files.append(self._own)
        with open(self._path(self._own), "ab") as file:
            file.write("".join(self._held).encode())
        self._filled += len(self._held)
        self._held = []

    def _lose(self):
        """The oldest file goes, though it was not sent."""
        try:
            with open(self._path(self._files[0]), "rb") as file:
                file.seek(self._place)
                self.lost += sum(1 for _ in file)
        except OSError:
            pass
        self._drop()

    def _drop(self):
        gone = self._files.pop(0)
        self._place = 0
        if gone == self._own:
            self._own = None
        _remove(self._path(gone))

    def _size(self, number):
        try:
            return os.stat(self._path(number))[6]
        except OSError:
            return 0

    def _read_starts(self):
        found = {}
        try:
            with open(self._folder + "/starts") as file:
                for line in file:
                    parts = line.split(" ")
                    if len(parts) == 3 and parts[1].isdigit():  # a torn one lacks its end
                        found[parts[0]] = int(parts[1])
        except (OSError, UnicodeError):
            pass
        return found

    def _path(self, number):
        return "%s/%06d" % (self._folder, number)


def _remove(path):
    try:
        os.remove(path)
    except OSError:
        pass
