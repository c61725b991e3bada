"""The trace files of the demo plant, each made when asked for and always the same."""

from __future__ import annotations

from beadline.demo import layouts, pulses, runs
from beadline.demo.plant import Plant, PlantCycle, PlantPacking, PlantPulseTest
from beadline.demo.recording import TraceFile


def _stem(packing: PlantPacking, what: str, number: int) -> str:
    return f"{packing.column.name.lower()}_{packing.number}_{what}_{number:03d}"


def cycle_file(plant: Plant, packing: PlantPacking, cycle: PlantCycle) -> TraceFile:
    """Trace of a whole cycle as the column's skid writes it.

    Notes
    -----
    Depends on the plant's seed, the packing's key and story, and the cycle only: cycles can be made in any
    order and in any process.
    """
    recording = runs.cycle_recording(packing, cycle, seed=plant.seed)
    return layouts.write(recording, skid=packing.column.skid, stem=_stem(packing, "cycle", cycle.number))


def pulse_file(plant: Plant, packing: PlantPacking, test: PlantPulseTest) -> TraceFile:
    """Trace of a pulse test as the column's skid writes it."""
    recording = pulses.pulse_recording(packing, test, seed=plant.seed)
    return layouts.write(recording, skid=packing.column.skid, stem=_stem(packing, "pulse", test.number))
