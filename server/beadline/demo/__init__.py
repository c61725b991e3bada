"""The demo plant: an invented enzyme plant whose traces come from a physical model."""

from beadline.demo.files import cycle_file, pulse_file
from beadline.demo.scenario import load_plant

__all__ = ["cycle_file", "load_plant", "pulse_file"]
