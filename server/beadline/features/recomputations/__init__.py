"""Recomputations: stored traces analysed again; new results stand beside the old ones."""
