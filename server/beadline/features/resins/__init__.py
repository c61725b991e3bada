"""Resins and their lots."""
