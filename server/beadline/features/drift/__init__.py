"""Drift: baseline, charts and the bed's condition."""
