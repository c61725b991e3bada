"""Cleaning and maintenance of a bed, between its cycles."""
