"""A night after which something of everything stands, and what stood as earlier versions told it.

    python -m tests.core.standing_night

What stands at its end is packed in `stored/` under the version of its form. Whoever changes what a
value of `kuraban.core.engine.durable_state` means makes one first, with the code before; one that
is there is never made anew.
"""

from __future__ import annotations

import sys
from pathlib import Path

from kuraban.core.engine.durable_state import VERSION, pack, standing_of
from tests.core.house import Night, mashing

STORED = Path(__file__).parent / "stored"


def standing_night() -> Night:
    """A night, a day and an evening of which somebody has everything in hand.

    Tank 3 a little warm and in hand since last evening, the store warm and shelved, Tank 4 warm and
    promised to be right in six hours, a batch end that waits for a second person.
    """
    night = mashing()
    night.told["t3-mid"] = 10.9
    night.run(90)
    night.log("tank-3", "acknowledge", by="aki")
    night.told["t3-mid"] = 10.7
    night.run(20 * 60)
    night.told |= {"t4-mid": 10.9, "s-air": 9.5}
    night.run(90)
    night.log("tank-4", "acknowledge", by="bun", for_="6h")
    night.log("store", "shelve", condition="warm", for_="4h", reason="door mended", by="ken")
    night.log("tank-3", "batch-end", by="cho")
    return night.run(10)


def stored() -> list[Path]:
    """What stood, as each version told it, the oldest first."""
    return sorted(STORED.glob("standing-*.msgpack"))


def main() -> None:
    path = STORED / f"standing-{VERSION}.msgpack"
    if path.exists():
        sys.exit(f"{path}: is there already; what stood is never made anew")
    STORED.mkdir(exist_ok=True)
    path.write_bytes(pack(standing_of(standing_night().engine)))
    print(f"{path}: {path.stat().st_size:,} bytes")


if __name__ == "__main__":
    main()
