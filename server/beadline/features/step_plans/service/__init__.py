"""Read a step plan from rows of fields, and try it on a trace before it is recorded."""

from beadline.features.step_plans.service.trying import newest_trace, sent_trace, tried
from beadline.features.step_plans.service.writing import planned, read_rows, rows_of

__all__ = ["newest_trace", "planned", "read_rows", "rows_of", "sent_trace", "tried"]
