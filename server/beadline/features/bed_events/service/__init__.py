"""Note what was done to a bed, correct it, and say where it lies among the cycles."""

from beadline.features.bed_events.service.keeping import correct, get, note, void
from beadline.features.bed_events.service.placing import noted_near, placed

__all__ = ["correct", "get", "note", "noted_near", "placed", "void"]
