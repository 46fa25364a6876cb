"""One picture hangs, and those who wait see the next."""

from __future__ import annotations

import asyncio
import threading

from kuraban.core.picture import Picture
from kuraban.edges.pages.board import PictureBoard


def picture(at: float) -> Picture:
    return Picture(at=at, site="Kura", day_turned=0.0, day_turns=86400.0)


def test_the_newest_hangs() -> None:
    """Each has a higher number than the one before."""
    board = PictureBoard()
    assert board.shown() == (0, None)
    board.put(picture(1.0))
    board.put(picture(2.0))
    assert board.shown().number == 2
    assert board.picture == picture(2.0)


def test_whoever_waits_sees_the_next_from_another_thread() -> None:
    """All who wait are woken by one picture."""
    board = PictureBoard()

    async def two() -> list[float]:
        board.open(asyncio.get_running_loop())
        waiting = [asyncio.create_task(board.after(0, 10.0)) for _ in range(2)]
        await asyncio.sleep(0)
        threading.Thread(target=board.put, args=(picture(3.0),)).start()
        shown = await asyncio.gather(*waiting)
        return [one.picture.at for one in shown if one.picture is not None]

    assert asyncio.run(two()) == [3.0, 3.0]


def test_a_picture_missed_is_not_waited_for() -> None:
    """What came between two looks is there at once."""
    board = PictureBoard()
    board.put(picture(1.0))
    assert asyncio.run(board.after(0, 10.0)).number == 1


def test_waiting_ends_when_the_pages_do() -> None:
    """Or after the time that was given."""
    board = PictureBoard()

    async def closing() -> int:
        board.open(asyncio.get_running_loop())
        waiting = asyncio.create_task(board.after(0, 10.0))
        await asyncio.sleep(0)
        board.close()
        return (await waiting).number

    assert asyncio.run(closing()) == 0
    assert asyncio.run(PictureBoard().after(0, 0.0)).number == 0


def test_a_board_whose_loop_has_ended_takes_pictures() -> None:
    """The watch goes on while the pages are down."""
    board = PictureBoard()

    async def come_and_go() -> None:
        board.open(asyncio.get_running_loop())

    asyncio.run(come_and_go())
    board.put(picture(1.0))
    assert board.shown().number == 1
