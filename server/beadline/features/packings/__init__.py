"""Packings: one bed each."""
