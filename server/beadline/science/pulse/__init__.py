"""The pulse test: a tracer injection that qualifies a packed bed."""

from beadline.science.pulse.analysis import analyse, measure_system
from beadline.science.pulse.criteria import DEFAULT_CRITERIA, Check, Criteria, PulseVerdict, judge
from beadline.science.pulse.result import PulseResult, SystemBroadening
from beadline.science.pulse.settings import METHOD, VERSION, Settings

__all__ = [
    "DEFAULT_CRITERIA",
    "METHOD",
    "VERSION",
    "Check",
    "Criteria",
    "PulseResult",
    "PulseVerdict",
    "Settings",
    "SystemBroadening",
    "analyse",
    "judge",
    "measure_system",
]
