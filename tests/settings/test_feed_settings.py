"""A feed's settings come over whole to the small program that runs by them."""

from __future__ import annotations

from pathlib import Path

import msgspec

from kuraban.settings.feed_settings import Command, FeedSettings, Line, Value, Wire
from kuraban.settings.handover import pack, special
from kuraban.settings.model import Mqtt


def test_settings_come_over_whole() -> None:
    settings = FeedSettings(
        Mqtt("broker.lan", 8883, user="feed", password="word", ca_file=Path("/ca.crt")),
        Path("/var/lib/kuraban/feed.buffer"),
        wires=(Wire("t3-mid", "28-0316a2794f1e"),),
        lines=(Line("chillers", device="/dev/ttyUSB0", baud=9600, parity="none"),),
        values=(Value("c1-runs", "chillers", 3, 17, "input", "bit", 2, inverted=True),),
        commands=(Command("cellar-air", ("/usr/bin/read-air", "--once"), "/celsius"),),
    )
    kind = FeedSettings
    assert msgspec.msgpack.decode(pack(settings), type=kind, dec_hook=special) == settings
    assert "word" not in repr(settings)
