"""The front door: a broker's messages into a bounded queue, answered after the commit.

The broker keeps what it has sent until it is answered (MQTT 5, QoS 1), so a message is answered
only when it stands in the journal, and whatever was not answered comes again at the next connect.
Four things follow:

- Packet identifiers are used again after a reconnect. An answer prepared before it could confirm
  another message, so every message carries the number of its link, the number changes before a
  new connection is tried, and answers of an earlier link are dropped.
- The network thread must not die: paho ends it at the first exception of a callback, and an
  exception that paho swallows counts as answered. So the callbacks copy and raise nothing, and
  the loop around paho is ours and catches everything.
- A full queue is no reason to answer. The network thread waits, at most half the keep-alive, then
  lets the message and all after it go unanswered, and reconnects to be given them again in order.
  Only of a flood what came is let go instead (`fair_queue`), and answered once that is written.
- While the journal fails nothing may be answered, and the broker stops sending when the window is
  full. So the kept session is closed, its messages pile up at the broker, and a second session
  without memory (QoS 0, nothing to answer) keeps the watch seeing.

One thread beside the watch loop; `take`, `answer`, `publish` and the rest may be called from any.
"""

from __future__ import annotations

import json
import random
import ssl
from collections.abc import Callable, Iterable
from threading import Event, Lock, Thread
from typing import Any, Final

from kuraban.core.intake.payload import LARGEST
from kuraban.edges.mqtt.answers import Answers
from kuraban.edges.mqtt.client import Client, Link, tls_context
from kuraban.edges.mqtt.connack_reasons import breakdown, refusal
from kuraban.edges.mqtt.fair_queue import HEAD, MESSAGES, Arrived, Backlog, Cut, FairQueue
from kuraban.edges.mqtt.link_report import LinkEvent, LinkKind, LinkReport

PAUSE: Final = 0.05
"""Seconds of rest where all that waits is of lines that are being cut."""
SESSION_KEPT: Final = 8 * 7 * 86400
"""How long the broker keeps our session and its messages while we are away, seconds."""
FIRST_DELAY, LONGEST_DELAY = 2.0, 60.0
"""Seconds between two tries to connect, doubling; between half and the whole is waited."""
STEADY: Final = 30.0
"""A connection that lived this long, seconds, was no failed try, whatever was waited before it."""
ECHO: Final = 5.0
"""Within this many seconds of connecting the broker gives us our own retained status."""


MakeClient = Callable[[Link, str, ssl.SSLContext | None, int], Client]


def delay_after(last: float, lived: float) -> float:
    """Seconds to wait before the next try at most, where `last` was waited before a connection that
    `lived` so long, 0 if there was none: a network that comes and goes is not made worse."""
    if not last or lived > min(4 * last, STEADY):
        return FIRST_DELAY
    return min(2 * last, LONGEST_DELAY)


class FrontDoor:
    """Subscribes to `topics` at the broker of `link` and keeps at most `capacity` messages.

    `line_of` names the line of a topic, in which messages are fair to those of the others.
    `on_event` is called from the network thread; what it raises is swallowed. `clock` gives elapsed
    seconds, `wall` the Unix seconds that others read; `client` makes its two sessions. Raises
    ConfigurationError when the TLS files cannot be used.
    """

    def __init__(
        self,
        link: Link,
        topics: tuple[str, ...],
        clock: Callable[[], float],
        *,
        capacity: int = MESSAGES,
        line_of: Callable[[str], str] = str,
        wall: Callable[[], float] | None = None,
        client: MakeClient = Client,
        on_event: Callable[[LinkEvent], None],
    ) -> None:
        self._settings = link
        self._topics = topics
        self._clock, self._wall = clock, wall or clock
        self._report, self._make_client = LinkReport(clock, on_event), client
        self._status_topic, self._below = f"{link.root}/watch/status", f"{link.root}/"
        tls = tls_context(link)
        self._kept = self._make(link.client_id, tls)
        self._passing = self._make(f"{link.client_id}-passing", tls)
        self._client = self._wanted = self._kept
        self._queue = FairQueue(line_of, capacity)
        self._answers = Answers()
        self._bell, self._room, self._wake = Event(), Event(), Event()
        self._hungry = False
        self._lock = Lock()
        self._link = 0
        self._up = False
        """The broker has let us in, and takes answers."""
        self.connected = False
        """It gives us what we asked for, too."""
        self._known = False
        self._since = 0.0
        self._echoed = True
        self._doubted = False
        """Nothing was let through to us on this connection when it should have been."""
        self._letting_go = False
        self._stopping = False
        self._delay = 0.0
        self._spoke = 0
        self._retained: dict[str, bytes] = {}
        self._asked: dict[int, tuple[str, ...]] = {}
        self._thread = Thread(target=self._run, name="front door", daemon=True)

    # ------------------------------------------------------------------ what the watch loop asks

    @property
    def alive(self) -> bool:
        """Whether the network thread lives."""
        return self._thread.is_alive()

    @property
    def link(self) -> int:
        """The number of the present link; it changes before each connection is tried."""
        return self._link

    @property
    def kept(self) -> bool:
        """Whether the session that the broker keeps for us is the one in use."""
        return self._wanted is self._kept

    @property
    def reason(self) -> str:
        """What last befell the link, "" while nothing has."""
        return self._report.reason

    @property
    def waiting(self) -> int:
        """How many messages wait to be taken."""
        return len(self._queue)

    def start(self, away: float = 0.0) -> None:
        """Open it; nobody has listened for `away` seconds."""
        self._queue.away = away
        self._thread.start()

    def stop(self, timeout: float = 5.0) -> None:
        """Say goodbye, send the answers given so far, close. Takes at most `timeout` seconds."""
        self._stopping = True
        if self._up:
            self._client.publish(self._status_topic, self._status("stopped"), qos=0, retain=True)
        self._leave()
        if self.alive:
            self._thread.join(timeout)

    def take(self, most: int, wait: float) -> list[Arrived]:
        """What waits, up to `most`, oldest first; at most `wait` seconds for the first.

        Where more waits than a turn can hold, the quiet lines first.
        """
        queue = self._queue
        if not queue and wait > 0:
            self._hungry = True
            if not queue:
                self._bell.wait(wait)
            self._hungry = False
            self._bell.clear()
        taken = queue.take(most)
        if not taken and len(queue):
            self._bell.wait(PAUSE)
        self._room.set()
        return taken

    def rouse(self) -> None:
        """End a waiting `take` at once, or the next that would wait: something else has come."""
        self._bell.set()

    @property
    def more(self) -> bool:
        """Whether the last `take` left something for the next."""
        return self._queue.left

    def give_back(self, rest: list[Arrived]) -> None:
        """What was taken and could not be judged: it comes first at the next take."""
        self._queue.give_back(rest)

    def cuts(self) -> list[Cut]:
        """What was let go unread since this was asked last."""
        return self._queue.cuts()

    def backlog(self) -> Backlog | None:
        """What waits, and of whom most; None where nothing does."""
        return self._queue.backlog()

    def answer(self, arrived: Iterable[Arrived], cuts: Iterable[Cut] = ()) -> None:
        """Tell the broker that these are safe. Those of an earlier link are dropped."""
        with self._lock:
            link = self._link
            mids = [one.mid for one in arrived if one.qos and one.link == link]
            for cut in cuts:
                mids += cut.mids.get(link, ())
            if mids and self._up and (ready := self._answers.ready(mids)):
                self._client.answer(ready)

    def publish(self, topic: str, payload: bytes | str, retain: bool = False) -> None:
        """Send at QoS 1. Retained words are told anew at each connect, so that the last one holds;
        others wait for a connection, at most a thousand of them."""
        data = payload.encode() if isinstance(payload, str) else payload
        if retain:
            self._retained[topic] = data
            if not self._up:
                return
        self._client.publish(topic, data, qos=1, retain=retain)

    def pause_kept_session(self) -> None:
        """Close the kept session and go on seeing through one without memory."""
        self._change(self._passing)

    def resume_kept_session(self) -> None:
        """Come back as the kept session and be given everything that was not answered."""
        self._change(self._kept)

    # ------------------------------------------------------------------------ the network thread

    def _run(self) -> None:
        while not self._stopping:
            try:
                self._once()
                self._up = self.connected = False
                if not self._stopping and not self._turned():
                    self._pause()
            except Exception as error:
                self._up = self.connected = False
                self._tell("fault", f"{type(error).__name__}: {error}")
                self._wake.wait(FIRST_DELAY)
        self._tell("stopped", "asked to stop")

    def _once(self) -> None:
        """One connection, from the first packet to the last."""
        self._begin_link()
        client, place = self._client, self._settings
        try:
            client.reconnect()
        except (OSError, UnicodeError) as error:
            self._tell("refused", breakdown(error, place.host, place.port))
            return
        code = 0
        while code == 0 and client.socket() is not None:
            code = client.turn()
            if self._stopping or self._turned():
                client.disconnect()
            elif not self._echoed and not self._doubted and self._clock() - self._since > ECHO:
                self._deaf()

    def _begin_link(self) -> None:
        with self._lock:
            self._link += 1
            self._client = self._wanted
            self._answers = Answers()
        self._queue.begin()
        self._letting_go = False
        self._echoed = True
        self._wake.clear()
        self._client.forget()

    def _turned(self) -> bool:
        """Whether this connection ended because we wanted another one."""
        return self._letting_go or self._client is not self._wanted

    def _pause(self) -> None:
        lived = self._clock() - self._since if self._since else 0.0
        self._since = 0.0
        self._delay = delay_after(self._delay, lived)
        self._wake.wait(self._delay * random.uniform(0.5, 1.0))

    def _change(self, client: Client) -> None:
        if self._wanted is not client:
            self._wanted = client
            self._leave()

    def _leave(self) -> None:
        self._room.set()
        self._wake.set()
        self._client.disconnect()

    # --------------------------------------------------------------------------------- callbacks

    def _on_message(self, client: Any, _data: Any, message: Any) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = message._topic.decode("utf-8", "backslashreplace")
        if topic == self._status_topic:
            self._hears()
            client.ack(message.mid, message.qos)
            return
        if not self._echoed and topic.startswith(self._below):
            self._hears()  # a long backlog comes before the echo
        if self._letting_go or (self._queue.full and not self._make_room()):
            return
        payload = message.payload
        size = len(payload) if len(payload) > LARGEST else 0
        self._queue.put(
            Arrived(
                topic,
                bytes(payload[:HEAD] if size else payload),
                self._clock(),
                message.retain,
                self._link,
                message.mid,
                message.qos,
                size,
            )
        )
        if message.qos:
            self._answers.came(message.mid)
        if self._hungry:
            self._bell.set()

    def _make_room(self) -> bool:
        """False when the message has to go unanswered, and with it all after it on this link."""
        queue = self._queue
        if queue.pressed():
            queue.cut()
            if not queue.full:
                return True
        self._client.waited = True
        self._room.clear()
        if queue.full:
            self._room.wait(self._settings.keepalive / 2)
        if not queue.full and not self._stopping:
            queue.waited()
            return True
        self._letting_go = True
        self._tell("full", f"{len(queue)} messages wait; the broker is asked to send again")
        self._client.disconnect()
        return False

    def _on_connect(self, client: Client, _data: Any, flags: Any, reason: Any, _props: Any) -> None:
        place = self._settings
        if reason.is_failure:
            words = refusal(reason.value, str(reason), user=place.user, client=place.client_id)
            self._tell("refused", words)
            return
        self._up, self._known = True, flags.session_present
        self._since = self._clock()
        self._echoed = self._doubted = False
        self._asked.clear()
        self._subscribe(client, self._topics)  # first: whoever reads "watching" is heard
        client.publish(self._status_topic, self._status("watching"), qos=1, retain=True)
        for topic, payload in list(self._retained.items()):
            client.publish(topic, payload, qos=1, retain=True)
        self._subscribe(client, (self._status_topic,))

    def _subscribe(self, client: Client, topics: tuple[str, ...]) -> None:
        """To the topics of the house, or to our own word, which is to come back each time."""
        house = topics == self._topics
        qos = 1 if house and client is self._kept else 0
        self._asked[client.ask(topics, qos, retained_again=not house)] = topics

    def _on_subscribe(
        self, _client: Client, _data: Any, mid: int, reasons: list[Any], _props: Any
    ) -> None:
        asked, place = self._asked.pop(mid, ()), self._settings
        refused = [(t, r) for t, r in zip(asked, reasons, strict=False) if r.value >= 0x80]
        for topic, reason in refused:
            words = f"{topic}: subscription refused ({str(reason).lower()})"
            self._tell("deaf", f"{words}; let user {place.user} read it")
        if asked == self._topics and not refused:
            self.connected = True
            known = "known again" if self._known else "known as new"
            self._tell("connected", f"{place.host}:{place.port} as {place.client_id}, {known}")

    def _hears(self) -> None:
        """Something under our root came through; it is told where that was in doubt."""
        self._echoed = True
        if self._doubted:
            self._doubted = False
            place = f"{self._settings.host}:{self._settings.port}"
            self._tell("connected", f"{place}, messages are let through after all")

    def _deaf(self) -> None:
        self._doubted = True
        words = f"nothing under {self._settings.root}/ is let through to user"
        self._tell("deaf", f"{words} {self._settings.user}; look at the broker's access list")

    def _on_publish(self, _client: Client, _data: Any, _mid: int, reason: Any, _props: Any) -> None:
        if reason.is_failure:
            words = f"publishing under {self._settings.root}/watch/ refused"
            self._tell("deaf", f"{words} ; let user {self._settings.user} write there")

    def _on_disconnect(
        self, client: Client, _data: Any, flags: Any, reason: Any, _props: Any
    ) -> None:
        was, self._up, self.connected = self._up, False, False
        if was and client is self._kept:
            self._queue.ended()
        if self._stopping or self._turned():
            return
        place = self._settings
        broke = self._client.broke
        if flags.is_disconnect_packet_from_server:
            words = refusal(reason.value, str(reason), user=place.user, client=place.client_id)
            self._tell("lost", words)
        elif broke is not None:
            self._tell("lost", breakdown(broke, place.host, place.port))
        elif was:
            words = f"{place.host}:{place.port} closed the connection without a word"
            if self._clock() - self._since < STEADY:
                words += f"; does a second watch run with client id {place.client_id}?"
            self._tell("lost", words)
        elif self._spoke != self._link:
            words = "closed the connection without a word; is this an MQTT 5 port, with TLS or not?"
            self._tell("refused", f"{place.host}:{place.port} {words}")

    # ------------------------------------------------------------------------------------- parts

    def _make(self, client_id: str, tls: ssl.SSLContext | None) -> Client:
        place, kept = self._settings, client_id == self._settings.client_id
        client = self._make_client(place, client_id, tls, SESSION_KEPT if kept else 0)
        client.will_set(self._status_topic, self._status("gone"), qos=1, retain=True)
        client.on_message = self._on_message
        client.on_connect = self._safe(self._on_connect)
        client.on_subscribe = self._safe(self._on_subscribe)
        client.on_publish = self._safe(self._on_publish)
        client.on_disconnect = self._safe(self._on_disconnect)
        return client

    def _safe(self, callback: Callable[..., None]) -> Callable[..., None]:
        def guarded(*arguments: Any) -> None:
            try:
                callback(*arguments)
            except Exception as error:
                self._tell("fault", f"{callback.__name__}: {type(error).__name__}: {error}")

        return guarded

    def _status(self, word: str) -> str:
        return json.dumps({"status": word, "at": self._wall()})

    def _tell(self, kind: LinkKind, reason: str) -> None:
        self._spoke = self._link
        self._report.tell(kind, reason)
