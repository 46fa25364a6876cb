"""One picture hangs, and those who wait see the next."""

from __future__ import annotations

import asyncio
import threading

from kuraban.core.views.snapshot import Snapshot
from kuraban.edges.web.live.snapshot_hub import SnapshotHub


def snapshot(at: float) -> Snapshot:
    return Snapshot(at=at, site="Kura", day_turned=0.0, day_turns=86400.0)


def test_the_newest_hangs() -> None:
    """Each has a higher number than the one before."""
    hub = SnapshotHub()
    assert hub.shown() == (0, None)
    hub.put(snapshot(1.0))
    hub.put(snapshot(2.0))
    assert hub.shown().number == 2
    assert hub.snapshot == snapshot(2.0)


def test_whoever_waits_sees_the_next_from_another_thread() -> None:
    """All who wait are woken by one picture."""
    hub = SnapshotHub()

    async def two() -> list[float]:
        hub.open(asyncio.get_running_loop())
        waiting = [asyncio.create_task(hub.after(0, 10.0)) for _ in range(2)]
        await asyncio.sleep(0)
        threading.Thread(target=hub.put, args=(snapshot(3.0),)).start()
        shown = await asyncio.gather(*waiting)
        return [one.snapshot.at for one in shown if one.snapshot is not None]

    assert asyncio.run(two()) == [3.0, 3.0]


def test_a_picture_missed_is_not_waited_for() -> None:
    """What came between two looks is there at once."""
    hub = SnapshotHub()
    hub.put(snapshot(1.0))
    assert asyncio.run(hub.after(0, 10.0)).number == 1


def test_waiting_ends_when_the_pages_do() -> None:
    """Or after the time that was given."""
    hub = SnapshotHub()

    async def closing() -> int:
        hub.open(asyncio.get_running_loop())
        waiting = asyncio.create_task(hub.after(0, 10.0))
        await asyncio.sleep(0)
        hub.close()
        return (await waiting).number

    assert asyncio.run(closing()) == 0
    assert asyncio.run(SnapshotHub().after(0, 0.0)).number == 0


def test_a_board_whose_loop_has_ended_takes_pictures() -> None:
    """The watch goes on while the pages are down."""
    hub = SnapshotHub()

    async def come_and_go() -> None:
        hub.open(asyncio.get_running_loop())

    asyncio.run(come_and_go())
    hub.put(snapshot(1.0))
    assert hub.shown().number == 1
