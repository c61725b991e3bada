"""Traces: files kept byte for byte as they came."""
