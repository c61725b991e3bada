"""Pulse tests: what qualifies a bed."""
