"""Readings out of the months of the folder."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path

from kuraban.errors import MachineError


def readings(folder: Path, probe: str, start: float, end: float) -> Iterator[tuple[float, float]]:
    """(time, value) of one probe from `start` to before `end`, the wall clock's Unix seconds, in
    order; nothing where the library is not installed. MachineError where a file is broken."""
    if find_spec("pyarrow") is None:
        return
    import pyarrow.parquet as pq

    first, last = (datetime.fromtimestamp(at, UTC) for at in (start, end))
    for path in sorted((folder / "readings").glob("*.parquet")):
        if not f"{first:%Y-%m}" <= path.stem <= f"{last:%Y-%m}":
            continue
        span = [("probe", "==", probe), ("time", ">=", first), ("time", "<", last)]
        try:
            found = pq.read_table(path, columns=["time", "value"], filters=span)
        except (OSError, ValueError) as error:
            raise MachineError(f"{path} cannot be read") from error
        micros, values = found["time"].cast("int64").to_pylist(), found["value"].to_pylist()
        for at, value in sorted(zip(micros, values, strict=True)):
            yield at / 1e6, value
