"""Columns: the hardware."""
