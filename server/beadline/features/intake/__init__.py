"""Intake: files dropped or posted become logged runs."""
