"""Read a file and analyse its transitions; touches no database."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beadline import reading
from beadline.features.intake.schemas import AnalysedRun, Corrections, Unread
from beadline.features.intake.service import plausible
from beadline.features.packings.schemas import Bed
from beadline.features.reading_profiles.schemas import Saved
from beadline.features.transitions import service as transitions
from beadline.features.transitions.schemas import Analysed
from beadline.science import hydraulics, viscosity
from beadline.science.estimates import Estimate

Floats = NDArray[np.float64]


def analyse(
    content: bytes,
    *,
    filename: str,
    bed: Bed,
    plan: tuple[reading.PlannedTransition, ...],
    last_profile: Mapping[str, Any] | Saved | None = None,
    of_layout: Callable[[str], Saved | None] = lambda _: None,
    corrections: Corrections | None = None,
    references: Mapping[str, Floats] | None = None,
) -> AnalysedRun:
    """Read a file and analyse its transitions; touches no database by itself.

    `last_profile` is how the bed's last run was read; where it does not fit, `of_layout` gives the profile
    that is kept for the layout of this file, known by its hash.

    Raises
    ------
    Unread
        If the file can't be read, or its volume can't be that of a run on the bed; the message names the
        place and the mend.
    """
    corrections = corrections or Corrections()
    try:
        trace = _read(content, filename, bed, last_profile, of_layout, corrections)
    except reading.UnreadableFile as error:
        raise Unread(error) from error
    plausible.refuse_impossible_volume(trace, bed)
    found = transitions.analyse(trace, plan, bed, switches_m3=corrections.switches_m3, references=references)
    return _with_conditions(trace, found, bed)


def analyse_again(
    content: bytes,
    *,
    filename: str,
    bed: Bed,
    plan: tuple[reading.PlannedTransition, ...],
    profile: Mapping[str, Any],
    references: Mapping[str, Floats],
) -> AnalysedRun:
    """Analyse a recorded file anew, read and cut as it was then; touches no database.

    Parameters
    ----------
    plan : tuple of PlannedTransition
        As stored with the results, so that a switch that a person moved stays where it was put.
    profile : mapping
        How the file was read.

    Raises
    ------
    Unread
        If the file can't be read that way any more.
    """
    try:
        trace = reading.read(
            content,
            filename=filename,
            profile=reading.Profile.from_dict(profile),
            bed_volume_m3=bed.bed_volume_m3,
            column_area_m2=bed.cross_section_m2,
        )
    except reading.UnreadableFile as error:
        raise Unread(error) from error
    return _with_conditions(trace, transitions.analyse(trace, plan, bed, references=references), bed)


def _with_conditions(trace: reading.Trace, found: tuple[Analysed, ...], bed: Bed) -> AnalysedRun:
    conditions, notes = _conditions(trace, found, bed)
    return AnalysedRun(trace, found, conditions, trace.notes + notes)


def _read(
    content: bytes,
    filename: str,
    bed: Bed,
    last_profile: Mapping[str, Any] | Saved | None,
    of_layout: Callable[[str], Saved | None],
    corrections: Corrections,
) -> reading.Trace:
    read = partial(
        reading.read,
        content,
        filename=filename,
        bed_volume_m3=bed.bed_volume_m3,
        column_area_m2=bed.cross_section_m2,
    )
    trace, changed = _as_before(read, last_profile)
    try:
        trace = trace or _recognised(read, of_layout, changed)
    except reading.UnreadableFile as error:
        if error.draft is None or not corrections.columns:
            raise
        return read(profile=_corrected(error.draft, corrections))
    corrected = _corrected(trace.profile, corrections)
    return trace if corrected == trace.profile else read(profile=corrected)


def _as_before(
    read: Callable[..., reading.Trace], last_profile: Mapping[str, Any] | Saved | None
) -> tuple[reading.Trace | None, tuple[str, ...]]:
    """Read as the bed's last run was read; where that does not fit, return what changed."""
    if last_profile is None:
        return None, ()
    if isinstance(last_profile, Saved):
        profile, said = last_profile.profile, f"Read by the {last_profile.label}."
    else:
        profile = reading.Profile.from_dict(last_profile)
        said = "Read as the last run of this column was."
    try:
        trace = read(profile=profile)
    except reading.UnreadableFile as error:
        return None, (f"Not read as the last run of this column was. {error.what}",)
    return replace(trace, notes=(said, *trace.notes)), ()


def _recognised(
    read: Callable[..., reading.Trace], of_layout: Callable[[str], Saved | None], changed: tuple[str, ...]
) -> reading.Trace:
    """Recognise a file afresh, and read it by the profile that is kept for its layout if there is one."""
    trace: reading.Trace | None = None
    try:
        trace = read()
        guessed = trace.profile
    except reading.UnreadableFile as error:
        if error.draft is None or of_layout(error.draft.layout_sha256) is None:
            raise
        guessed = error.draft
    saved = of_layout(guessed.layout_sha256)
    if trace is None or (saved is not None and saved.profile != guessed.of_the_layout()):
        trace = read(profile=saved.profile if saved else guessed)
    said = (f"Read by the {saved.label}, which is kept for files of this layout.",) if saved else ()
    return replace(trace, notes=(*changed, *said, *trace.notes))


def _corrected(profile: reading.Profile, corrections: Corrections) -> reading.Profile:
    plain = profile.to_dict()
    for column in plain["columns"]:
        column |= corrections.columns.get(column["index"], {})
    if corrections.columns:
        plain["axis"] = "volume" if any(c["use"] == "volume" for c in plain["columns"]) else "time"
    return reading.Profile.from_dict(plain)


def _conditions(
    trace: reading.Trace, found: tuple[Analysed, ...], bed: Bed
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return the conditions during the official transition, since liquids differ in viscosity."""
    names = [transitions.official([one.plan for one in found]).name, *(one.plan.name for one in found)]
    by_name = {one.plan.name: window for one in found if (window := _window(one, bed)) is not None}
    first = next((by_name[name] for name in names if name in by_name), None)
    if first is None:
        return dict.fromkeys(("flow_m3_s", "pressure_drop_pa", "temperature_k")), ()
    seen = reading.cycle_conditions(trace, [first])
    pressure, notes = _corrected_pressure(seen, bed)
    kept = {
        "flow_m3_s": seen.flow_m3_s,
        "pressure_drop_pa": pressure,
        "temperature_k": seen.temperature_k,
        "pressure_drop_as_run_pa": seen.pressure_drop_pa,
        "inlet_pressure_pa": seen.inlet_pressure_pa,
    }
    stored = {name: None if e is None else [e.value, e.u] for name, e in kept.items()}
    return stored, (*seen.notes, *notes)


def _window(one: Analysed, bed: Bed) -> tuple[float, float] | None:
    if one.switch_volume_m3 is None or one.result is None:
        return None
    first, last = (one.switch_volume_m3 + cv * bed.bed_volume_m3 for cv in one.result.window_cv)
    return first, last


def _corrected_pressure(seen: reading.Conditions, bed: Bed) -> tuple[Estimate | None, tuple[str, ...]]:
    """Bring the pressure drop to the plan's flow and to water at 20 °C, as far as the trace tells."""
    pressure, flow = seen.pressure_drop_pa, seen.flow_m3_s
    if pressure is None or flow is None or not bed.reference_flow_m3_s:
        return pressure, ()
    if pressure.value <= 0 or flow.value <= 0:
        return None, ("The pressure drop is not above zero, so it is left out: check the sensors' zero.",)
    temperature = seen.temperature_k
    known = temperature is not None and 273.15 <= temperature.value <= 373.15
    reference = viscosity.water(temperature_k=hydraulics.REFERENCE_TEMPERATURE_K)
    present = viscosity.water(temperature_k=temperature.value) if temperature and known else reference
    corrected = hydraulics.at_reference(
        pressure,
        flow_m3_s=flow,
        viscosity_pa_s=present,
        bed_height_m=bed.bed_height_m,
        reference_flow_m3_s=bed.reference_flow_m3_s,
        reference_viscosity_pa_s=reference.value,
    )
    what = "the plan's flow and to 20 °C" if known else "the plan's flow; the trace has no temperature"
    return corrected, (f"The pressure drop is corrected to {what}.",)
