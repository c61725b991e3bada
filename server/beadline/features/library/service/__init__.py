"""Gather what the library holds, and read what is added to it."""

from beadline.features.library.service.shelves import shelves
from beadline.features.library.service.slurry import plan_slurry
from beadline.features.library.service.step_plans import read_transitions

__all__ = ["plan_slurry", "read_transitions", "shelves"]
