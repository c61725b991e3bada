"""Step plans: written in rows of fields, tried on a trace with windows that can be dragged."""
