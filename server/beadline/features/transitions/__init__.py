"""Transitions: the step changes of a cycle, and the plans that name them."""
