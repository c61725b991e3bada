"""A physical model of a packed bed and its skid: parameters in, outlet curves and pressures out."""

from beadline.science.bed_model.bed import Bed, Run, SidePath
from beadline.science.bed_model.dispersion import diffusivity, plate_height, plates, water_viscosity
from beadline.science.bed_model.hydraulics import pressure_drop
from beadline.science.bed_model.probe import Disturbances, Probe, conductivity_at, disturb, read
from beadline.science.bed_model.response import Curve, curve, pulse_response, step_response, transform
from beadline.science.bed_model.variation import Spread, Variation, autoregressive, varied, vary

__all__ = [
    "Bed",
    "Curve",
    "Disturbances",
    "Probe",
    "Run",
    "SidePath",
    "Spread",
    "Variation",
    "autoregressive",
    "conductivity_at",
    "curve",
    "diffusivity",
    "disturb",
    "plate_height",
    "plates",
    "pressure_drop",
    "pulse_response",
    "read",
    "step_response",
    "transform",
    "varied",
    "vary",
    "water_viscosity",
]
