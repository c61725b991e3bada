"""Recordings of pulse tests: a tracer injected on the bed as it is after some cycles."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from beadline.demo import lives
from beadline.demo.plant import PlantPacking, PlantPulseTest
from beadline.demo.recording import Recording
from beadline.science import bed_model

Array = NDArray[np.float64]

_BEFORE_CV = 0.15
_END_CV = 1.6
_STEP_CV = 0.0025
_BACKGROUND_MS_CM = 14.0
_PEAK_GAIN_MS_CM = 90.0
_POST_BAR = 0.1


def pulse_recording(packing: PlantPacking, test: PlantPulseTest, *, seed: int) -> Recording:
    """What the skid records of a salt pulse: the injection begins with the phase "Injection"."""
    state = lives.state_at(packing, test.after_cycle, seed=seed)
    injected = test.injection_ml / 1e6 / packing.bed_volume_m3
    volume = np.arange(0.0, _BEFORE_CV + _END_CV, _STEP_CV)
    since = volume - _BEFORE_CV
    signals = _signals(packing, test, state, volume, lives.generator(seed, packing.key, "pulse", test.number))
    recorded_l = volume * packing.bed_volume_m3 * 1e3 * state.truth.flow_gain
    phases = np.select(
        [since < -1e-9, since < injected - 1e-9], ["Background", "Injection"], default="Tracer elution"
    )
    return Recording(
        title=f"Pulse test {test.number}",
        started_at=test.performed_at,
        column=packing.column.name,
        batch="",
        volume_l=recorded_l,
        time_s=np.cumsum(np.diff(recorded_l, prepend=0.0) / signals["flow"] * 3600),
        phase=tuple(map(str, phases)),
        signals=signals,
    )


def _signals(
    packing: PlantPacking, test: PlantPulseTest, state: lives.State, volume: Array, rng: np.random.Generator
) -> dict[str, Array]:
    """Conductivity behind the bed, pressures, flow and temperature."""
    bed = lives.bed_of(packing, state)
    run = bed_model.Run(velocity_m_s=test.velocity_cm_h / 360000, temperature_k=state.temperature_k)
    flow = test.velocity_cm_h / 100 * packing.bed_volume_m3 / (packing.bed_height_mm / 1e3) * 1e3
    drop = bed_model.pressure_drop(bed, run=run) / 1e5
    truth = _tracer(packing, test, state, volume)
    probe = bed_model.Probe(
        gain=state.truth.probe_gain,
        offset=state.truth.probe_offset_ms_cm,
        noise=0.0015 * float(np.ptp(truth)),
        drift_per_cv=0.003 * float(np.ptp(truth)),
    )
    return {
        "conductivity": bed_model.read(truth, probe, volume_cv=volume, rng=rng),
        "pre": _POST_BAR + drop * (1 + 0.006 * rng.standard_normal(volume.size)),
        "post": _POST_BAR * (1 + 0.006 * rng.standard_normal(volume.size)),
        "flow": flow * (1 + 0.0025 * rng.standard_normal(volume.size)),
        "temperature": state.temperature_k - 273.15 + 0.03 * rng.standard_normal(volume.size),
    }


def _tracer(packing: PlantPacking, test: PlantPulseTest, state: lives.State, volume: Array) -> Array:
    """True conductivity behind the bed [mS/cm]."""
    injected = test.injection_ml / 1e6 / packing.bed_volume_m3
    peak = bed_model.pulse_response(
        volume - _BEFORE_CV,
        lives.bed_of(packing, state),
        run=bed_model.Run(velocity_m_s=test.velocity_cm_h / 360000, temperature_k=state.temperature_k),
        injected_cv=injected,
        lag_cv=state.truth.probe_lag_cv,
    )
    at_25 = _BACKGROUND_MS_CM + _PEAK_GAIN_MS_CM * injected * peak
    return np.asarray(bed_model.conductivity_at(at_25, state.temperature_k))
