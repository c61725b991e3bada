"""What sister beds have shown, for a bed that is young."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy.orm import Session

from beadline.features.drift import queries
from beadline.features.drift.schemas import Experience, SharedPromise, SharedSpread
from beadline.features.drift.service.promises import promises
from beadline.features.drift.service.readings import estimates_by_name, reading_of
from beadline.features.drift.service.standing import baseline_cycles
from beadline.science import drift as science
from beadline.science.drift.fleet import LEAST_BEDS
from beadline.science.drift.reading import metric_of
from beadline.store.tables import Cycle, Packing, Transition

MOST_SISTERS = 12


def experience(session: Session, packing: Packing, settings: science.Settings) -> science.Prior | None:
    """Return what other beds of the same resin and step plan have shown in their baselines.

    None while fewer than three of them have a complete one: their spread can't be told then.
    """
    beds, names, begun = [], [], []
    for sister, standing in queries.sisters(session, packing, most=MOST_SISTERS):
        rows: dict[Cycle, list[Transition]] = {}
        for cycle, row in queries.results(session, sister.id, numbers=baseline_cycles(standing)):
            rows.setdefault(cycle, []).append(row)
        if rows:
            beds.append(
                [reading_of(c.number, estimates_by_name(r), {}, c.conditions) for c, r in rows.items()]
            )
            names.append(f"{sister.column.name}, packing {sister.number}")
            begun.append((sister, standing, min(cycle.started_at for cycle in rows)))
    if len(beds) < LEAST_BEDS:
        return None
    promised = promises(session, packing, begun)
    return replace(science.pool(beds, settings), sisters=tuple(names), promises=promised)


def prior_of(session: Session, packing: Packing, settings: science.Settings) -> science.Prior | None:
    """Return the experience that a bed is judged with: taken at its first cycle, anew with new settings.

    In between it stays, whatever sister beds go through, so that a life judged anew is judged alike.
    """
    standing = queries.bed_state_to_go_on(session, packing.id)
    if standing is not None and standing.state:
        plain = standing.state["prior"]
        if science.Settings.from_dict(standing.state["settings"]) == settings:
            return science.Prior.from_dict(plain) if plain else None
    return experience(session, packing, settings) if settings.use_fleet else None


def contribution(
    session: Session, packing: Packing, settings: science.Settings, *, keys: Sequence[str]
) -> Experience | None:
    """Return what sister beds contribute to some keys' limits; where switched off, what they would.

    None where there are too few sisters.
    """
    standing = queries.bed_state_to_go_on(session, packing.id)
    state = standing.state if standing is not None else {}
    if settings.use_fleet and state:
        prior = science.Prior.from_dict(state["prior"]) if state["prior"] else None
    else:
        prior = experience(session, packing, settings)
    if prior is None:
        return None
    baseline = science.Baseline.from_dict(state["baseline"]) if state and state["baseline"] else None
    return Experience(
        sisters=prior.sisters,
        phi=settings.phi if prior.phi is None else prior.phi,
        phi_alone=settings.phi,
        spreads=tuple(_spread(key, prior, baseline, settings) for key in keys if key in prior.sd),
        promises=tuple(_kept(key, promise, prior, baseline) for key, promise in prior.promises.items()),
    )


def _spread(
    key: str, prior: science.Prior, baseline: science.Baseline | None, settings: science.Settings
) -> SharedSpread:
    known = baseline is not None and key in baseline.keys
    cycles = len(baseline.cycles) if baseline is not None else settings.baseline_cycles
    return SharedSpread(
        key=key,
        log=metric_of(key).scale == "log",
        sisters=prior.sd[key],
        weight=prior.weight(key, cycles=cycles),
        used=float(baseline.sd[baseline.keys.index(key)]) if baseline is not None and known else None,
    )


def _kept(
    key: str, promise: science.Promise, prior: science.Prior, baseline: science.Baseline | None
) -> SharedPromise:
    known = baseline is not None and key in baseline.keys
    return SharedPromise(
        key=key,
        promise=promise,
        worth_cycles=promise.worth_cycles(prior.sd.get(key, 0.0), phi=prior.phi or 0.0),
        runs=float(baseline.on_unit(baseline.centre)[baseline.keys.index(key)])
        if baseline is not None and known
        else None,
    )
