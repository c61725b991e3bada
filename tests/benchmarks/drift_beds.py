"""Physically modelled beds, read and judged: delays of faults, nuisances and quiet lives.

    python tests/benchmarks/drift_beds.py [beds]

Each cycle has three steps in conductivity and a pressure, flow and temperature. The bed varies from cycle to
cycle as `bed_model.Spread` says; changes begin 20 cycles after a baseline of 15. Steps happen at once, ramps
grow over 40 cycles to the same size. Default settings: one false alarm in 450 cycles.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from beadline.science import bed_model, drift, transition
from beadline.science.estimates import Estimate

CYCLES, BASELINE, AT, GROWTH = 75, 15, 20, 40
HEIGHT_M, AREA_M2 = 0.2, 0.05
BED_VOLUME_M3 = HEIGHT_M * AREA_M2
STEPS: Mapping[str, tuple[float, float]] = {
    "wash": (12.0, 2.0),
    "strip": (2.0, 85.0),
    "sanitise": (85.0, 20.0),
}
VOLUME_CV = np.linspace(-0.2, 2.0, 441)


@dataclass(frozen=True)
class Conditions:
    """What is not the bed: probe, buffers, flow, temperature, start mark."""

    gain: float = 1.0
    offset: float = 0.0
    strip_strength: float = 1.0
    velocity: float = 1.0
    warmer_k: float = 0.0
    late_cv: float = 0.0


Fault = Callable[[bed_model.Bed, float], bed_model.Bed]
FAULTS: Mapping[str, Fault] = {
    "channel, 3 % of the flow": lambda bed, x: replace(
        bed, side_paths=(bed_model.SidePath(share=0.03 * x, relative_velocity=1.5),)
    ),
    "stagnant zone, 3 %": lambda bed, x: replace(bed, stagnant_ratio=0.03 * x),
    "gap of 4 mm on top": lambda bed, x: replace(bed, settled_m=0.004 * x),
    "plates 8 % worse": lambda bed, x: replace(bed, plate_factor=1 + 0.08 * x),
    "clogging, 15 % of the voids": lambda bed, x: replace(bed, deposit=0.15 * x, plate_factor=1 + 0.04 * x),
}
NUISANCES: Mapping[str, Conditions] = {
    "probe gain +5 %": Conditions(gain=1.05),
    "probe offset +1 mS/cm": Conditions(offset=1.0),
    "strip buffer 10 % weaker": Conditions(strip_strength=0.9),
    "flow +12 %": Conditions(velocity=1.12),
    "5 K warmer": Conditions(warmer_k=5.0),
    "start mark late by 0.04 CV": Conditions(late_cv=0.04),
}


def life(
    seed: int, *, fault: Fault | None = None, grows: bool = False, after: Conditions = Conditions()
) -> list[drift.Reading]:
    """Readings of one bed."""
    rng = np.random.default_rng([seed, 17])
    normal = bed_model.Bed(height_m=HEIGHT_M, bead_diameter_m=90e-6, mixed_volumes_cv=(0.02,))
    variations = bed_model.vary(rng, cycles=CYCLES + 1, spread=bed_model.Spread())
    warmth = bed_model.autoregressive(rng, count=CYCLES + 1, phi=0.5, sd=0.5)
    found = []
    for cycle in range(1, CYCLES + 1):
        done = max(cycle - BASELINE - AT, 0)
        size = min(done / GROWTH, 1.0) if grows else float(done > 0)
        bed = fault(normal, size) if fault is not None and size else normal
        conditions = after if done else Conditions()
        bed = bed_model.varied(bed, variations[cycle])
        found.append(_reading(cycle, bed, conditions, float(warmth[cycle]), rng))
    return found


def _reading(
    cycle: int, bed: bed_model.Bed, conditions: Conditions, warmth_k: float, rng: np.random.Generator
) -> drift.Reading:
    velocity = 200 / 360000 * conditions.velocity * (1 + 0.005 * rng.standard_normal())
    temperature = 294.15 + warmth_k + conditions.warmer_k
    run = bed_model.Run(velocity_m_s=velocity, temperature_k=temperature)
    response = bed_model.curve(bed, run=run)
    fraction = response.step(VOLUME_CV)
    values: dict[str, Estimate] = {}
    curves = {}
    for name, levels in STEPS.items():
        result = _step(fraction, levels, conditions, rng, strip=name != "wash")
        if result.usable:
            values |= {f"{name}/{metric}": estimate for metric, estimate in result.estimates.items()}
            curves[name] = result.fraction
    pressure = bed_model.pressure_drop(bed, run=run)
    usual = (
        bed_model.water_viscosity(294.15) / bed_model.water_viscosity(temperature) * (200 / 360000) / velocity
    )
    corrected = pressure * usual * (1 + 0.01 * rng.standard_normal())
    values["pressure_drop_pa"] = Estimate(corrected, 0.01 * corrected)
    values["flow_m3_s"] = Estimate(velocity * AREA_M2, 0.005 * velocity * AREA_M2)
    values["temperature_k"] = Estimate(temperature, 0.1)
    return drift.Reading(cycle, values, curves, usable=len(curves) > 0)


def _step(
    fraction: np.ndarray,
    levels: tuple[float, float],
    conditions: Conditions,
    rng: np.random.Generator,
    *,
    strip: bool,
) -> transition.TransitionResult:
    before, after = (c * conditions.strip_strength if strip and c == 85.0 else c for c in levels)
    truth = before + (after - before) * fraction
    probe = bed_model.Probe(
        gain=conditions.gain * (1 + 0.003 * rng.standard_normal()),
        offset=conditions.offset,
        noise=0.003 * abs(after - before),
    )
    signal = bed_model.read(truth, probe, volume_cv=VOLUME_CV, rng=rng)
    volume = (VOLUME_CV - conditions.late_cv) * BED_VOLUME_M3
    return transition.analyse(volume, signal, bed_volume_m3=BED_VOLUME_M3, bed_height_m=HEIGHT_M)


def opened(alerts: tuple[drift.AlertEvidence, ...]) -> tuple[int, int | None]:
    """Events before the change, and cycles from the change to the first one after it."""
    start = BASELINE + AT
    early = sum(a.opened <= start for a in alerts)
    late = [a.opened - start for a in alerts if a.opened > start]
    return early, min(late, default=None)


def main(beds: int) -> None:
    """Print delays and false alarms."""
    for name, fault in FAULTS.items():
        for grows in (False, True):
            lives = [
                drift.replay(life(seed, fault=fault, grows=grows), drift.Settings()) for seed in range(beds)
            ]
            delays = [opened(found.alerts)[1] for found in lives]
            median = np.median([CYCLES if d is None else d for d in delays])
            named = [a.causes[0].code for found in lives for a in found.alerts[-1:] if a.causes]
            print(
                f"{name}, {'ramp' if grows else 'step'}: median delay {median:.0f}, {delays}, {named}",
                flush=True,
            )
    for name, conditions in NUISANCES.items():
        lives = [drift.replay(life(seed, after=conditions), drift.Settings()) for seed in range(beds)]
        events = sum(len(found.alerts) for found in lives)
        codes = [sorted({d.code for j in found.judgements[-35:] for d in j.not_the_bed}) for found in lives]
        print(f"{name}: {events} bed alerts in {beds} lives; {codes[0]}", flush=True)
    quiet = [drift.replay(life(1000 + seed), drift.Settings()) for seed in range(3 * beds)]
    events = sum(len(found.alerts) for found in quiet)
    print(f"quiet: {events} bed alerts in {3 * beds * (CYCLES - BASELINE)} cycles", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
