"""A step change at the outlet of a packed bed, read for what it says about the bed."""

from beadline.science.transition.analysis import analyse
from beadline.science.transition.assembly import METHOD, VERSION
from beadline.science.transition.result import TransitionResult
from beadline.science.transition.settings import Settings

__all__ = ["METHOD", "VERSION", "Settings", "TransitionResult", "analyse"]
