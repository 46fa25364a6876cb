"""Messages as boards and hands really mangle them: a small house, good messages, and their ruin.

`mangled(seed, count)` yields (topic, payload, retained) in a fixed order for a seed. Each is to
be taken or refused with a reason; none may ever raise.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

from kuraban.core.planned_curve import Course, Sides, Stage
from kuraban.core.site import Cooler, Duty, House, Person, Place, Probe, Site

NOW = 1769883000.0
"""2026-02-01T03:10:00+09:00, the moment at which test messages are received."""

_HALF = Sides(0.5, 0.5)


def _stage(name: str) -> Stage:
    return Stage(
        id=name,
        length=86400.0,
        points=((0.0, 12.0),),
        tolerance=_HALF,
        notice=_HALF,
        limit=Sides(1.0, 1.0),
        delay=3600.0,
        limit_delay=1200.0,
    )


HOUSE = House(
    site=Site(name="Nowhere demo brewery", timezone="Asia/Tokyo"),
    places=(
        Place(id="tank-3", kind="tank", name="Tank 3", cooler="chiller-1"),
        Place(id="tank-4", kind="tank", name="Tank 4", cooler="chiller-1"),
        Place(id="bed-1", kind="koji-bed", name="Bed 1", room="koji-room"),
        Place(id="koji-room", kind="room", name="Koji room", heater="heater-1"),
    ),
    coolers=(
        Cooler(id="chiller-1", kind="chilled-water", name="Chiller 1"),
        Cooler(id="heater-1", kind="heater", name="Heater 1"),
    ),
    probes=(
        Probe(id="t3-mid", of="tank-3", measures="product"),
        Probe(id="t3-top", of="tank-3", measures="product", offset=-0.25),
        Probe(id="t3-valve", of="tank-3", measures="valve"),
        Probe(id="kr-rh", of="koji-room", measures="humidity"),
        Probe(id="c1-power", of="chiller-1", measures="power"),
        Probe(id="c1-run", of="chiller-1", measures="running"),
        Probe(
            id="bed-a", of="bed-1", measures="product", topic="boards/7/state",
            pointer="/probes/0/celsius", at_pointer="/time",
        ),
        Probe(
            id="bed-b", of="bed-1", measures="product", topic="boards/7/state",
            pointer="/probes/1/celsius", at_pointer="/time",
        ),
        Probe(id="t4-mid", of="tank-4", measures="product", topic="boards/8"),
        Probe(id="t4-top", of="tank-4", measures="product", topic="boards/8"),
    ),
    people=(
        Person(id="aki", name="Aki", language="ja"), Person(id="bun", name="Bun", language="en"),
    ),
    rota=(Duty(role="brewer", person="aki", order=1),),
    courses=(
        Course(id="moromi-slow-33", for_=("tank",), stages=(_stage("soe"), _stage("odori"))),
        Course(id="koji-box-48", for_=("koji-bed",), stages=(_stage("bed"),)),
    ),
)  # fmt: skip

READINGS: tuple[tuple[str, bytes], ...] = (
    ("kura/reading/t3-mid", b"10.46"),
    ("kura/reading/t3-mid", b'{"value": 10.46, "at": "2026-02-01T03:10:00+09:00"}'),
    ("kura/reading/t3-top", b'{"value": 10.5, "at": 1769882990.5, "battery": 3.1}'),
    ("kura/reading/t3-mid", b'[{"value": 10.4, "at": 1769880000}, {"value": 10.5}]'),
    ("kura/reading/t3-mid", b'[{"bn":"t3-mid","bt":1769883000,"u":"Cel","v":10.46}]'),
    ("kura/reading/t3-mid", b'[{"bn":"t3","n":"-mid","u":"K","v":283.6,"t":-5}]'),
    ("kura/reading/kr-rh", b'[{"n":"kr-rh","u":"%RH","v":62.0}]'),
    ("kura/reading/c1-power", b"1480"),
    ("kura/reading/c1-run", b"true"),
    ("kura/reading/t3-valve", b'[{"n":"t3-valve","vb":true}]'),
    ("boards/7/state", b'{"time":1769882999,"probes":[{"celsius":33.1},{"celsius":33.4}]}'),
    ("boards/8", b'[{"bn":"t4-","n":"mid","u":"Cel","v":9.1},{"n":"top","u":"Cel","v":9.4}]'),
)
"""Good messages, every payload form among them."""

ENTRIES: tuple[tuple[str, bytes], ...] = (
    ("tank-3", b'{"entry":"batch-start","batch":"No. 12","course":"moromi-slow-33","stage":"soe"}'),
    ("tank-3", b'{"entry":"stage","stage":"odori","since":"2026-02-01T02:00:00+09:00"}'),
    ("tank-3", b'{"entry":"hold","for":"1d"}'),
    ("tank-3", b'{"entry":"aim","celsius":9.5,"by":"2026-02-01T12:00:00+09:00","who":"Aki"}'),
    ("tank-3", b'{"entry":"plan","points":[["2026-02-01T12:00:00+09:00",9.5],[1769990000,10]]}'),
    ("tank-3", b'{"entry":"let-run","for":"2h","more":0.5,"by":"Aki"}'),
    ("tank-3", b'{"entry":"batch-end"}'),
    ("tank-3", b'{"entry":"press","to":["tank-4"],"rest":true}'),
    ("tank-3", b'{"entry":"best","batch":"No. 12","since":"2026-01-02T08:00:00+09:00"}'),
    ("tank-3", b'{"entry":"move","to":"tank-4"}'),
    ("tank-3", b'{"entry":"split","to":["tank-3","tank-4"]}'),
    ("tank-3", b'{"entry":"merge","into":"tank-4"}'),
    ("tank-3", b'{"entry":"stir","for":"10m","by":"Aki","at":"2026-02-01T03:00:00+09:00"}'),
    ("tank-3", b'{"entry":"addition","what":"rice","kg":420,"celsius":8}'),
    ("tank-3", b'{"entry":"cask-in","what":"warm"}'),
    ("tank-3", b'{"entry":"cask-out","what":"warm"}'),
    ("bed-1", b'{"entry":"handwork","for":"20m"}'),
    ("t3-mid", b'{"entry":"probe-out"}'),
    ("tank-3", b'{"entry":"probe-in"}'),
    ("tank-3", b'{"entry":"check","celsius":10.3,"where":"by the wall"}'),
    ("tank-3", b'{"entry":"sample","baume":6.5,"alcohol":9.8,"acidity":1.4}'),
    ("tank-3", '{"entry":"look","foam":"高泡","text":"泡が 軽い"}'.encode()),
    ("tank-3", b'{"entry":"served-by","cooler":"chiller-1"}'),
    ("tank-3", b'{"entry":"acknowledge","condition":"warm","for":"1h"}'),
    ("tank-3", b'{"entry":"shelve","condition":"warm","for":"12h","reason":"cooling water off"}'),
    ("chiller-1", b'{"entry":"unshelve","condition":"short-cycling"}'),
    ("chiller-1", b'{"entry":"out-of-service","reason":"service"}'),
    ("chiller-1", b'{"entry":"in-service"}'),
    ("watch", b'{"entry":"verdict","alarm":"tank-3/warm","was":"needless"}'),
    ("tank-3", b'{"entry":"take-back","of":"a1","reason":"wrong tank"}'),
    ("tank-3", b'{"entry":"amend","of":"a1","celsius":10.4,"fields":{"at":1769880000}}'),
    ("watch", b'{"entry":"duty-swap","from":"aki","to":"bun","day":"2026-02-03"}'),
    ("tank-3", b'{"entry":"confirm","of":"a1"}'),
    ("watch", b'{"entry":"note","text":"first frost","id":"n-1"}'),
)
"""One good entry of each kind, by subject."""

GOOD: tuple[tuple[str, bytes], ...] = (
    *READINGS,
    *((f"kura/log/{subject}", payload) for subject, payload in ENTRIES),
)

_TOKENS = (
    b"NaN", b"Infinity", b"-Infinity", b"1e999", b"-127", b"127.94", b"85.0", b"null", b"true",
    b"false", b'""', b'"10.46"', b"[]", b"{}", b"0", b"-0.0", b"1" * 400, b"\xff", b"\x00",
    b"\xef\xbb\xbf", b"\\ud800", b'"\\ud800"', b"10,46", b"1_0", b"0x1F", b"[" * 60, b'{"a":' * 60,
    b'"value":1,', b'"entry":"stir",', b'"at":"noon",', b'"at":1e300,', b'"x_":1,', b'"bver":99,',
    "\u3000".encode(), "２０".encode(), b"\n", b'"for":"-1h",', b'"for":"99999999d",',
)  # fmt: skip
_TOPICS = (
    "", "#", "+", "kura", "kura/", "kura/reading", "kura/reading/", "kura/reading/+",
    "kura/reading/#", "kura/log/+", "kura/log/", "kura/reading/tank-3", "kura/reading/bed-a",
    "kura/reading/t3-mid/extra", "kura/log/tank-33", "Kura/reading/t3-mid", "$SYS/uptime",
    "kura/reading/t3\u2013mid", "kura/log/" + "x" * 5000, "kura/reading/\x00", "boards/9",
)  # fmt: skip


def mangled(seed: int = 1, count: int = 5000) -> Iterator[tuple[str, bytes, bool]]:
    """Good messages ruined once to four times over, the same for the same seed."""
    chance = random.Random(seed)
    for _ in range(count):
        topic, payload = chance.choice(GOOD)
        for _ in range(chance.randint(1, 4)):
            payload = chance.choice(_RUINS)(payload, chance)
        if chance.random() < 0.1:
            topic = chance.choice(_TOPICS)
        yield topic, payload, chance.random() < 0.1


def _cut(payload: bytes, chance: random.Random) -> bytes:
    return payload[: chance.randint(0, len(payload))]


def _flip(payload: bytes, chance: random.Random) -> bytes:
    if not payload:
        return bytes([chance.randrange(256)])
    place = chance.randrange(len(payload))
    return payload[:place] + bytes([chance.randrange(256)]) + payload[place + 1 :]


def _insert(payload: bytes, chance: random.Random) -> bytes:
    place = chance.randint(0, len(payload))
    return payload[:place] + chance.choice(_TOKENS) + payload[place:]


def _replace_value(payload: bytes, chance: random.Random) -> bytes:
    """A token where a member's value stood."""
    colons = [place for place, byte in enumerate(payload) if byte == ord(":")]
    if not colons:
        return chance.choice(_TOKENS)
    start = chance.choice(colons) + 1
    ends = [place for place in range(start, len(payload)) if payload[place] in b",}]"]
    return payload[:start] + chance.choice(_TOKENS) + payload[ends[0] if ends else start :]


def _insert_member(payload: bytes, chance: random.Random) -> bytes:
    return payload.replace(b"{", b"{" + chance.choice(_TOKENS), 1)


def _drop(payload: bytes, chance: random.Random) -> bytes:
    start = chance.randint(0, len(payload))
    return payload[:start] + payload[start + chance.randint(1, 12) :]


def _wrap(payload: bytes, chance: random.Random) -> bytes:
    return chance.choice((b"[%b]", b'{"value":%b}', b"[%b,%b]", b'"%b"')).replace(b"%b", payload)


def _recode(payload: bytes, chance: random.Random) -> bytes:
    text = payload.decode("utf-8", "replace")
    return text.encode(chance.choice(("utf-16", "utf-16-le", "shift_jis", "utf-8-sig")), "replace")


def _whole(payload: bytes, chance: random.Random) -> bytes:
    return chance.choice(_TOKENS) if chance.random() < 0.9 else payload * chance.randint(2, 200)


_RUINS = (
    _cut, _flip, _flip, _insert, _insert, _replace_value, _replace_value, _insert_member, _drop,
    _wrap, _recode, _whole,
)  # fmt: skip
