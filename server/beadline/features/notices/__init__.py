"""Notices: when a bed leaves its limits somebody is told, once, and somebody confirms."""
