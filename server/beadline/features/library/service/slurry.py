"""How much slurry a bed needs."""

from __future__ import annotations

from collections.abc import Mapping

from beadline.features.library.schemas import SlurryPlan
from beadline.kit import forms, words
from beadline.kit.errors import Invalid
from beadline.science import packing
from beadline.science.estimates import Estimate

SLURRY_SHARE_U = 0.01  # reading a settled slurry to about 1 % of its volume; common practice, no source


def plan_slurry(given: Mapping[str, str]) -> SlurryPlan | None:
    """Compute how much slurry a bed needs; None until every value is given.

    Raises
    ------
    Invalid
        If a value can't be right.
    """
    names = ("plan_diameter_cm", "plan_height_cm", "plan_compression", "plan_slurry_percent")
    values = [forms.number(given.get(name, ""), where=name) for name in names]
    if any(value is None for value in values):
        return None
    diameter, height, compression, percent = (value or 0.0 for value in values)
    try:
        plan = packing.plan(
            diameter_m=diameter / 100,
            bed_height_m=height / 100,
            compression_factor=compression,
            slurry_fraction=Estimate(percent / 100, SLURRY_SHARE_U),
        )
    except ValueError as error:
        mend = "Check diameter, height, compression factor and slurry."
        raise Invalid(f"No bed can be planned so: {error}.", where="slurry", mend=mend) from error
    slurry = plan.slurry_volume_m3
    low, high = (100 * bound for bound in packing.SLURRY_RANGE)
    thin = (
        f"A slurry of {percent:g} % is outside the usual {low:g} to {high:g} % (common practice, no source)."
    )
    return SlurryPlan(
        numbers=(
            ("Bed volume", f"{words.number(plan.bed_volume_m3 * 1e3, 4)} L"),
            ("Settled height", f"{words.number(plan.settled_height_m * 100)} cm"),
            ("Slurry needed", f"{words.number(slurry.value * 1e3)} ± {words.number(slurry.u * 1e3, 2)} L"),
            ("So much moves the bed height by", f"{words.number(plan.bed_height_m.u * 1e3, 2)} mm"),
        ),
        doubts=(
            *(doubt.sentence for doubt in plan.doubts),
            *((thin,) if not low <= percent <= high else ()),
        ),
        formula="slurry = area · bed height · compression factor / settled share; "
        f"settled share ± {SLURRY_SHARE_U:.0%} of the slurry",
    )
