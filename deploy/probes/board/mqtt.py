"""As much of MQTT 5 as a probe needs: to come in, to say one thing and wait for the answer.

Nothing here waits longer than PATIENCE seconds, since a watchdog looks on. Whatever goes wrong is
an OSError; a topic that the broker does not let this user write is a Refused.
"""

import socket
import struct

PATIENCE = 4
RETRY = 10000
"""Milliseconds between two tries to come in."""


class Refused(Exception):
    pass


def _text(value):
    data = value if isinstance(value, bytes) else value.encode()
    return struct.pack(">H", len(data)) + data


def _packet(kind, body):
    size, head = len(body), bytes([kind])
    while True:
        head += bytes([size & 127 | (128 if size > 127 else 0)])
        size >>= 7
        if not size:
            return head + body


class Broker:
    """One connection; open once it is made."""

    def __init__(self, host, port, user, password, ca=None, alive=60):
        self._number = 0
        self._line = socket.socket()
        try:
            self._line.settimeout(PATIENCE)
            self._line.connect(socket.getaddrinfo(host, port)[0][-1])
            if ca:
                self._line = _encrypted(self._line, host, ca)
            flags = b"\xc2" + struct.pack(">H", alive) + b"\x00"
            self._send(
                0x10, _text("MQTT") + b"\x05" + flags + _text(user) + _text(user) + _text(password)
            )
            answer = self._await(0x20)
            if answer[1]:
                raise OSError("the broker refuses %s (%d): user and password?" % (user, answer[1]))
        except ValueError as error:
            self.close()
            raise OSError("TLS: %s" % str(error).strip()) from None
        except Exception:
            self.close()
            raise

    def say(self, topic, payload):
        """Publish with QoS 1; the broker has it when this returns."""
        self._number = self._number % 65535 + 1
        self._send(0x32, _text(topic) + struct.pack(">H", self._number) + b"\x00" + payload)
        while True:
            answer = self._await(0x40)
            if struct.unpack(">H", answer[:2])[0] == self._number:
                break
        if len(answer) > 2 and answer[2] > 127:
            raise Refused("the broker does not let this user write %s" % topic)

    def ping(self):
        self._send(0xC0, b"")
        self._await(0xD0)

    def close(self):
        try:
            self._line.close()
        except OSError:
            pass

    def _send(self, kind, body):
        data = _packet(kind, body)
        while data:
            done = self._line.write(data)
            if not done:
                raise OSError("the connection takes nothing")
            data = data[done:]

    def _await(self, kind):
        """The body of the next packet of that kind; what else comes is of no use here."""
        while True:
            first = self._take(1)[0]
            size = shift = 0
            while True:
                byte = self._take(1)[0]
                size |= (byte & 127) << shift
                shift += 7
                if byte < 128:
                    break
            body = self._take(size)
            if first & 0xF0 == 0xE0:
                raise OSError("the broker hangs up (%d)" % (body[0] if body else 0))
            if first & 0xF0 == kind:
                return body

    def _take(self, count):
        data = b""
        while len(data) < count:
            more = self._line.read(count - len(data))
            if not more:
                raise OSError("the connection is gone")
            data += more
        return data


def _encrypted(line, host, ca):
    import ssl

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.verify_mode = ssl.CERT_REQUIRED
    with open(ca, "rb") as file:
        context.load_verify_locations(cadata=file.read())
    return context.wrap_socket(line, server_hostname=host)
