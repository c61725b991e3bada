"""Recordings of production cycles: the recipe, run through the bed and its instruments."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from beadline.demo import lives
from beadline.demo.plant import Phase, PlantCycle, PlantPacking
from beadline.demo.recording import Recording
from beadline.science import bed_model

Array = NDArray[np.float64]
Level = Callable[[Phase], float]

_POST_BAR = 0.25
_SALTY_MS_CM = 15.0
_PROTEIN_ACCESS = 0.55
_PROTEIN_DIFFUSIVITY_M2_S = 7e-11


def starts_cv(phases: tuple[Phase, ...]) -> Array:
    """Volume at which each phase begins, and at which the last one ends [CV]."""
    return np.concatenate([[0.0], np.cumsum([phase.volume_cv for phase in phases])])


def _rows(phases: tuple[Phase, ...], *, start_cv: float) -> tuple[Array, NDArray[np.intp]]:
    """True volume of every row [CV], and which phase it belongs to."""
    edges = starts_cv(phases)
    parts = [np.arange(low, high, p.log_cv) for p, low, high in zip(phases, edges, edges[1:], strict=False)]
    volume = np.concatenate(parts) + start_cv
    return volume, np.searchsorted(edges, volume + 1e-9, side="right").clip(1, len(phases)) - 1


def _through(curve: bed_model.Curve, volume_cv: Array, phases: tuple[Phase, ...], level: Level) -> Array:
    """Outlet signal of a row of inlet levels."""
    levels = [level(phase) for phase in phases]
    out = np.full(volume_cv.size, levels[0])
    for at, rise in zip(starts_cv(phases)[1:-1], np.diff(levels), strict=True):
        if rise:
            out += rise * curve.step(volume_cv - at)
    return out


def _product(curve: bed_model.Curve, volume_cv: Array, phases: tuple[Phase, ...]) -> Array:
    """Product peaks: desorption smears the outlet density to a tailing peak."""
    out = np.zeros(volume_cv.size)
    for at, phase in zip(starts_cv(phases), phases, strict=False):
        if phase.product_mau:
            smeared = curve.pulse(volume_cv - at, injected_cv=0.5)
            tail = curve.pulse(volume_cv - at, injected_cv=1.1)
            out += phase.product_mau * (0.35 * smeared + 0.25 * tail)
    return out


def cycle_recording(packing: PlantPacking, cycle: PlantCycle, *, seed: int) -> Recording:
    """What the skid records of a cycle.

    Examples
    --------
    See `files.cycle_file`, which also writes it down.
    """
    state = lives.state_at(packing, cycle.number, seed=seed)
    rng = lives.generator(seed, packing.key, "cycle", cycle.number)
    phases = packing.step_plan.phases
    volume, phase_of = _rows(phases, start_cv=0.0)
    signals = _chemistry(packing, state, volume, rng)
    signals |= _machine(packing, state, volume, phase_of, rng)
    signals["conductivity"] = bed_model.disturb(signals["conductivity"], _oddities(rng), rng=rng)
    recorded_l = volume * packing.bed_volume_m3 * 1e3 * state.truth.flow_gain * state.variation.volume
    late = np.searchsorted(starts_cv(phases) + state.truth.mark_late_cv, volume + 1e-9, side="right")
    steps_s = np.diff(recorded_l, prepend=0.0) / signals["flow"] * 3600
    return Recording(
        title=f"{packing.step_plan.name}, cycle {cycle.number}",
        started_at=cycle.started_at,
        column=packing.column.name,
        batch=cycle.batch,
        volume_l=recorded_l,
        time_s=np.cumsum(steps_s),
        phase=tuple(phases[i].name for i in late.clip(1, len(phases)) - 1),
        signals=signals,
    )


def _oddities(rng: np.random.Generator) -> bed_model.Disturbances:
    """Now and then a spike, a bubble or a gap (rates are common practice, no source)."""
    spikes, bubbles, gaps = rng.random(3) < (0.02, 0.012, 0.008)
    return bed_model.Disturbances(spikes=int(spikes), bubbles=int(bubbles), gaps=int(gaps))


def _chemistry(
    packing: PlantPacking, state: lives.State, volume: Array, rng: np.random.Generator
) -> dict[str, Array]:
    """Conductivity, UV and pH behind the bed."""
    truth, phases = state.truth, packing.step_plan.phases
    bed = lives.bed_of(packing, state)
    run = bed_model.Run(
        velocity_m_s=packing.step_plan.reference_velocity_cm_h / 360000, temperature_k=state.temperature_k
    )
    salt = bed_model.curve(bed, run=run, lag_cv=truth.probe_lag_cv)
    slow = replace(run, pore_access=_PROTEIN_ACCESS, diffusivity_25c_m2_s=_PROTEIN_DIFFUSIVITY_M2_S)
    protein = bed_model.curve(bed, run=slow)

    def strength(phase: Phase) -> float:
        salty = phase.conductivity_ms_cm > _SALTY_MS_CM
        return phase.conductivity_ms_cm * (truth.salt_strength if salty else 1.0)

    at_25 = _through(salt, volume, phases, strength)
    true_conductivity = np.asarray(bed_model.conductivity_at(at_25, state.temperature_k))
    span = float(np.ptp(true_conductivity))
    probe = bed_model.Probe(
        gain=truth.probe_gain,
        offset=truth.probe_offset_ms_cm,
        noise=0.001 * span * rng.lognormal(0, 0.25),
        wander=0.0005 * span,
    )
    uv = _through(protein, volume, phases, lambda p: p.uv_mau) + _product(protein, volume, phases)
    hydroxyl = _through(salt, volume, phases, lambda p: p.ph)
    return {
        "conductivity": bed_model.read(true_conductivity, probe, volume_cv=volume, rng=rng),
        "uv": bed_model.read(uv, bed_model.Probe(noise=1.2, drift_per_cv=0.15), volume_cv=volume, rng=rng),
        "ph": bed_model.read(hydroxyl, bed_model.Probe(noise=0.006), volume_cv=volume, rng=rng),
    }


def _machine(
    packing: PlantPacking,
    state: lives.State,
    volume: Array,
    phase_of: NDArray[np.intp],
    rng: np.random.Generator,
) -> dict[str, Array]:
    """Pressures, flow and temperature."""
    phases, bed = packing.step_plan.phases, lives.bed_of(packing, state)
    speed = packing.step_plan.reference_velocity_cm_h / 360000
    drops = np.array([_drop_bar(bed, phase, speed, state) for phase in phases])
    relative = np.array([phase.relative_velocity for phase in phases])[phase_of]
    area_m2 = packing.bed_volume_m3 / (packing.bed_height_mm / 1e3)
    flow = speed * relative * area_m2 * 3.6e6 * state.truth.flow_gain * state.variation.volume
    post = _POST_BAR * relative
    surge = state.truth.extra_pressure_bar * np.exp(-(((volume - 0.8) / 0.25) ** 2))
    wobble = 1 + 0.006 * rng.standard_normal(volume.size)
    return {
        "pre": post + drops[phase_of] * wobble + surge,
        "post": post * (1 + 0.004 * rng.standard_normal(volume.size)),
        "flow": flow * (1 + 0.0025 * rng.standard_normal(volume.size)),
        "temperature": state.temperature_k - 273.15 + 0.03 * rng.standard_normal(volume.size),
    }


def _drop_bar(bed: bed_model.Bed, phase: Phase, speed: float, state: lives.State) -> float:
    run = bed_model.Run(
        velocity_m_s=speed * phase.relative_velocity,
        temperature_k=state.temperature_k,
        relative_viscosity=phase.relative_viscosity,
    )
    return bed_model.pressure_drop(bed, run=run) / 1e5 * state.variation.permeability
