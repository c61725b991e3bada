"""Gather what the library holds, and read what is added to it."""

from beadline.features.library.service.as_packed import as_packed
from beadline.features.library.service.planning import ASKED, METHODS, TICKS, plan_packing
from beadline.features.library.service.shelves import shelves
from beadline.features.library.service.step_plans import read_transitions

__all__ = ["ASKED", "METHODS", "TICKS", "as_packed", "plan_packing", "read_transitions", "shelves"]
