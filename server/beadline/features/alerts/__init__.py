"""Alerts: raised, acknowledged, shelved, closed."""
