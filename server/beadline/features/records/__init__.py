"""Who did what, when and why."""
