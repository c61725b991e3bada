"""Write the trace files of seed_data/drop, there to be logged: `python -m beadline.demo.drop_files`."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

from beadline.demo import files, scenario
from beadline.demo.plant import Plant, PlantCycle, PlantPacking
from beadline.demo.recording import TraceFile
from beadline.kit import places

PACKINGS = ("Knot 1", "Oystercatcher 1", "Whimbrel 2")
_WRITTEN_ON = date(2026, 1, 1)
_START = re.compile(rb"^(Begun|Started|Start)[;,\t].*\r?\n", re.MULTILINE)


def next_cycle(packing: PlantPacking) -> PlantCycle:
    """The cycle that follows a packing's newest one, a day later."""
    last = packing.cycles[-1]
    return PlantCycle(
        number=last.number + 1,
        batch=last.batch,
        started_at=last.started_at + timedelta(days=1),
        operator=last.operator,
    )


def make(plant: Plant) -> Iterator[TraceFile]:
    """The drop files: the next cycle of three beds, in three layouts."""
    for key in PACKINGS:
        packing = plant.packing(key)
        yield files.cycle_file(plant, packing, next_cycle(packing))


def write(folder: Path) -> list[Path]:
    """Write the drop files below a scenario folder, without a start: they are logged on any later day."""
    plant = scenario.load_plant(folder, today=_WRITTEN_ON)
    (folder / "drop").mkdir(exist_ok=True)
    written = []
    for file in make(plant):
        path = folder / "drop" / file.filename
        path.write_bytes(_START.sub(b"", file.content, count=1))
        written.append(path)
    return written


if __name__ == "__main__":
    for path in write(places.folder("seed_data")):
        print(path)
