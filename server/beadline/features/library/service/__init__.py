"""Gather what the library holds."""

from beadline.features.library.service.as_packed import as_packed
from beadline.features.library.service.planning import ASKED, METHODS, TICKS, plan_packing
from beadline.features.library.service.shelves import shelves

__all__ = ["ASKED", "METHODS", "TICKS", "as_packed", "plan_packing", "shelves"]
