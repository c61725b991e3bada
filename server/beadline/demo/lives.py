"""A packing's true state in each cycle: its story plus the variation of a bed in control."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from beadline.demo.plant import PlantPacking
from beadline.demo.truth import Truth
from beadline.science import bed_model

_LONGEST_LIFE = 400


def generator(seed: int, key: str, *labels: str | int) -> np.random.Generator:
    """Source of chance of one part of a packing; the same labels give the same numbers."""
    digest = hashlib.sha256("/".join(map(str, (seed, key, *labels))).encode()).digest()
    return np.random.default_rng(int.from_bytes(digest[:16], "big"))


@lru_cache(maxsize=32)
def _variations(seed: int, key: str) -> tuple[bed_model.Variation, ...]:
    rng = generator(seed, key, "life")
    return bed_model.vary(rng, cycles=_LONGEST_LIFE, spread=bed_model.Spread())


@lru_cache(maxsize=32)
def _warmth_k(seed: int, key: str) -> tuple[float, ...]:
    rng = generator(seed, key, "warmth")
    return tuple(map(float, bed_model.autoregressive(rng, count=_LONGEST_LIFE, phi=0.6, sd=0.6)))


@dataclass(frozen=True, slots=True)
class State:
    """A bed in one cycle.

    Attributes
    ----------
    truth : Truth
        The story's parameters.
    variation : bed_model.Variation
        Chance of the cycle, apart from the story.
    temperature_k : float
        Temperature of the liquids [K].
    """

    truth: Truth
    variation: bed_model.Variation
    temperature_k: float


def truth_at(packing: PlantPacking, cycle: int) -> Truth:
    """The story's parameters in a cycle: every change that has begun, in the order of the scenario."""
    values: dict[str, float] = {}
    for change in packing.changes:
        if cycle >= change.from_cycle:
            before = values.get(change.parameter, getattr(packing.truth, change.parameter))
            done = min(1.0, (cycle - change.from_cycle + 1) / change.over_cycles)
            values[change.parameter] = before + (change.to - before) * done
    return replace(packing.truth, **values)


def state_at(packing: PlantPacking, cycle: int, *, seed: int) -> State:
    """The bed in a cycle; 0 is the bed as packed."""
    truth = truth_at(packing, cycle)
    return State(
        truth=truth,
        variation=_variations(seed, packing.key)[cycle],
        temperature_k=273.15 + truth.temperature_c + _warmth_k(seed, packing.key)[cycle],
    )


def bed_of(packing: PlantPacking, state: State) -> bed_model.Bed:
    """The bed model of a packing in a state."""
    truth = state.truth
    paths = tuple(
        bed_model.SidePath(share=share, relative_velocity=velocity)
        for share, velocity in (
            (truth.fast_share, truth.fast_velocity),
            (truth.slow_share, truth.slow_velocity),
        )
        if share > 0
    )
    bed = bed_model.Bed(
        height_m=packing.bed_height_mm / 1e3,
        bead_diameter_m=packing.resin.bead_diameter_um / 1e6,
        voidage=packing.resin.voidage,
        bead_porosity=packing.resin.bead_porosity,
        plate_factor=truth.plate_factor,
        side_paths=paths,
        mixed_volumes_cv=(truth.skid_mixing_cv,),
        hold_up_cv=packing.column.hold_up_ml / 1e6 / packing.bed_volume_m3,
        settled_m=truth.settled_mm / 1e3,
        lost_m=truth.lost_mm / 1e3,
        stagnant_ratio=truth.stagnant_ratio,
        stagnant_exchange_cv=truth.stagnant_exchange_cv,
        deposit=truth.deposit,
    )
    return bed_model.varied(bed, state.variation)
