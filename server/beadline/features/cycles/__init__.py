"""Cycles: one production use of a bed."""
