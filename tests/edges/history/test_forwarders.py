"""An engine and a folder at once: the watch hears of them as of one."""

from __future__ import annotations

from pathlib import Path

from kuraban.edges.history.forwarders import Forwarders
from kuraban.settings import Receiver


def test_the_history_is_late_while_either_is(tmp_path: Path) -> None:
    """Told when the first falls behind and when the last has caught up."""
    heard: list[bool] = []
    engine, folder = Receiver("http://127.0.0.1:9", "b"), Receiver(str(tmp_path), "parquet")
    both = Forwarders(
        tmp_path / "none", engine, folder, lambda late, _: heard.append(late), lambda: 0.0, False
    )
    of_engine, of_folder = (both._of(one.name) for one in (engine, folder))
    for told, late in ((of_engine, True), (of_folder, True), (of_engine, False)):
        told(late, "")
    assert heard == [True]
    of_folder(False, "")
    assert heard == [True, False]
