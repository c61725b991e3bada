"""Units as the trade writes them, through pint."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any

# kind of a unit -> the unit that arrays are kept in, as pint names it
CANONICAL = {
    "conductivity": "mS/cm",
    "uv": "milliabsorbance_of_light",
    "ph": "acidity_unit",
    "pressure": "Pa",
    "flow": "m**3/s",
    "temperature": "K",
    "volume": "m**3",
    "time": "s",
    "velocity": "m/s",
    "bed volumes": "bed_volume",
    "bed volumes per time": "bed_volume/s",
    "percent": "percent",
    "mass": "kg",
    "mass flow": "kg/s",
}

# written form in lower case -> (shown form, pint's form)
_WHOLE = {
    "ph": ("pH", "acidity_unit"),
    "phunits": ("pH", "acidity_unit"),
    "phunit": ("pH", "acidity_unit"),
    "au": ("AU", "absorbance_of_light"),
    "a.u.": ("AU", "absorbance_of_light"),
    "od": ("AU", "absorbance_of_light"),
    "abs": ("AU", "absorbance_of_light"),
    "absorbanceunits": ("AU", "absorbance_of_light"),
    "mau": ("mAU", "milliabsorbance_of_light"),
    "m.a.u.": ("mAU", "milliabsorbance_of_light"),
    "milliau": ("mAU", "milliabsorbance_of_light"),
    "ae": ("AU", "absorbance_of_light"),
    "ua": ("AU", "absorbance_of_light"),
    "mae": ("mAU", "milliabsorbance_of_light"),
    "mua": ("mAU", "milliabsorbance_of_light"),
    "µau": ("µAU", "microabsorbance_of_light"),
    "cv": ("CV", "bed_volume"),
    "bv": ("CV", "bed_volume"),
    "columnvolumes": ("CV", "bed_volume"),
    "columnvolume": ("CV", "bed_volume"),
    "bedvolumes": ("CV", "bed_volume"),
    "cv/h": ("CV/h", "bed_volume/hour"),
    "cv/hr": ("CV/h", "bed_volume/hour"),
    "bv/h": ("CV/h", "bed_volume/hour"),
    "cv/min": ("CV/min", "bed_volume/minute"),
    "lpm": ("L/min", "L/min"),
    "lph": ("L/h", "L/hour"),
    "slpm": ("L/min", "L/min"),
    "gpm": ("gal/min", "gallon/min"),
    "mmho/cm": ("mS/cm", "mS/cm"),
    "µmho/cm": ("µS/cm", "µS/cm"),
    "bar(g)": ("bar", "bar"),
    "bar(a)": ("bar", "bar"),
    "bar(d)": ("bar", "bar"),
    "barg": ("bar", "bar"),
    "bara": ("bar", "bar"),
    "bard": ("bar", "bar"),
    "mbarg": ("mbar", "mbar"),
    "kpag": ("kPa", "kPa"),
    "kpa(g)": ("kPa", "kPa"),
    "psi(g)": ("psi", "psi"),
    "psi(d)": ("psi", "psi"),
    "psig": ("psi", "psi"),
    "psia": ("psi", "psi"),
    "psid": ("psi", "psi"),
    "mpa": ("MPa", "MPa"),
    "mmhg": ("mmHg", "mmHg"),
    "kg/cm2": ("kgf/cm²", "kilogram_force/cm**2"),
    "kgf/cm2": ("kgf/cm²", "kilogram_force/cm**2"),
    "°c": ("°C", "degC"),
    "degc": ("°C", "degC"),
    "deg.c": ("°C", "degC"),
    "oc": ("°C", "degC"),
    "ºc": ("°C", "degC"),
    "c": ("°C", "degC"),
    "celsius": ("°C", "degC"),
    "degreescelsius": ("°C", "degC"),
    "°f": ("°F", "degF"),
    "degf": ("°F", "degF"),
    "f": ("°F", "degF"),
    "fahrenheit": ("°F", "degF"),
    "k": ("K", "K"),
    "kelvin": ("K", "K"),
    "%": ("%", "percent"),
    "%b": ("%", "percent"),
    "percent": ("%", "percent"),
}
_SIEMENS = {"ms": "mS", "µs": "µS", "us": "µS", "s": "S", "ks": "kS", "ns": "nS"}
_PARTS = {
    "ml": "mL", "mls": "mL", "l": "L", "ltr": "L", "litre": "L", "litres": "L", "liter": "L", "liters": "L",
    "µl": "µL", "ul": "µL", "cl": "cL", "dl": "dL", "hl": "hL", "millilitre": "mL", "millilitres": "mL",
    "milliliter": "mL", "milliliters": "mL", "cc": "cm³", "ccm": "cm³", "cm3": "cm³", "cbm": "m³",
    "m3": "m³", "dm3": "dm³", "mm3": "mm³", "gal": "gallon", "s": "s", "sec": "s", "secs": "s", "sek": "s",
    "second": "s", "seconds": "s", "ms": "ms", "msec": "ms", "min": "min", "mins": "min", "minute": "min",
    "minutes": "min", "minuten": "min", "h": "h", "hr": "h", "hrs": "h", "hour": "h", "hours": "h",
    "std": "h", "stunden": "h", "秒": "s", "分": "min", "時間": "h",
    "d": "d", "day": "d", "days": "d", "cm": "cm", "mm": "mm", "m": "m",
    "m2": "m²", "cm2": "cm²", "bar": "bar", "mbar": "mbar", "pa": "Pa", "kpa": "kPa", "hpa": "hPa",
    "psi": "psi", "atm": "atm", "kg": "kg", "g": "g", "mg": "mg", "a": "", "y": "",
}  # fmt: skip
_PINT_PARTS = {
    "cm³": "cm**3",
    "m³": "m**3",
    "dm³": "dm**3",
    "mm³": "mm**3",
    "m²": "m**2",
    "cm²": "cm**2",
    "h": "hour",
    "d": "day",
}
_SAFE = re.compile(r"[A-Za-z_µ°%]{1,24}(\*\*[23])?(/[A-Za-z_µ°]{1,24}(\*\*[23])?)?")


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit that was recognised.

    Attributes
    ----------
    text : str
        Normalised: "mS/cm".
    kind : str
        What it measures, a key of `CANONICAL`; "another quantity" for any other unit pint knows.
    factor, offset : float
        Canonical value = written value x factor + offset.
    """

    text: str
    kind: str
    factor: float
    offset: float


@cache
def _registry() -> Any:
    import pint  # here, since it would slow every start

    registry: Any = pint.UnitRegistry(cache_folder=None)
    for definition in (
        "absorbance_of_light = [light_taken_up]",
        "bed_volume = [bed_volume]",
        "acidity_unit = [acidity]",
    ):
        registry.define(definition)
    return registry


@lru_cache(maxsize=1024)
def unit_of(text: str) -> Unit | None:
    """Return the unit that a short text names, or None if it names none."""
    written = _tidy(text)
    if not written or len(written) > 24:
        return None
    shown, pints = _WHOLE.get(written.lower()) or _by_parts(written)
    return _convert(shown, pints) if _SAFE.fullmatch(pints) else None


@lru_cache(maxsize=256)
def factor_to(text: str, wanted: str) -> float | None:
    """Return by what a value in a written unit is multiplied to be in another; None if that can't be.

    Examples
    --------
    >>> factor_to("µm", "m"), factor_to("[mm]", "m"), factor_to("bar", "m")
    (1e-06, 0.001, None)
    """
    written = _tidy(text)
    if not written or len(written) > 24:
        return None
    _, pints = _WHOLE.get(written.lower()) or _by_parts(written)
    if not _SAFE.fullmatch(pints):
        return None
    registry = _registry()
    try:
        return _clean(float(registry.Quantity(1.0, pints).to(wanted).magnitude))
    except Exception:  # pint raises many kinds; whatever it can't convert has no factor
        return None


def _tidy(text: str) -> str:
    """Bring the many ways to write one unit into one: micro signs, powers, blanks, "per"."""
    written = (
        text.strip().strip("[](){}<>").strip()
        if text.count("(") != 1 or text.startswith("(")
        else text.strip()
    )
    for old, new in (
        ("μ", "µ"),
        ("μ", "µ"),
        ("µ", "µ"),
        ("³", "3"),
        ("²", "2"),
        ("℃", "°C"),
        ("⁻¹", "-1"),
        ("−", "-"),
    ):
        written = written.replace(old, new)
    written = re.sub(r"\s+per\s+|\bper\b", "/", written, flags=re.IGNORECASE)
    written = re.sub(r"[\s·*.]*\b(min|h|hr|s|cm|m)\^?-1\b", r"/\1", written)
    return written if written.lower() in _WHOLE else re.sub(r"\s+|\^", "", written)


def _by_parts(written: str) -> tuple[str, str]:
    """Return the shown and pint's form of "mL/min" and the like; words we don't know are left to pint."""
    above, _, below = written.partition("/")
    siemens = below.lower() in ("cm", "m") and _SIEMENS.get(above.lower())
    parts = [siemens or _PARTS.get(above.lower(), above)] + (
        [_PARTS.get(below.lower(), below)] if below else []
    )
    return "/".join(parts), "/".join(_PINT_PARTS.get(part, part) for part in parts)


def _convert(shown: str, pints: str) -> Unit | None:
    registry = _registry()
    try:
        unit = registry.Unit(pints)
        for kind, canonical in CANONICAL.items():
            if unit.dimensionality == registry.Unit(canonical).dimensionality and (kind == "percent") == (
                pints == "percent"
            ):
                offset = float(registry.Quantity(0.0, unit).to(canonical).magnitude)
                above = float(registry.Quantity(1000.0, unit).to(canonical).magnitude)
                return Unit(shown, kind, _clean((above - offset) / 1000.0), offset)
        return None if unit.dimensionless else Unit(shown, "another quantity", 1.0, 0.0)
    except Exception:  # pint raises many kinds; whatever it can't read is no unit
        return None


def _clean(factor: float) -> float:
    """Take the rounding noise of a conversion off, so that 1 mS/cm stays 1."""
    return float(f"{factor:.15g}")
