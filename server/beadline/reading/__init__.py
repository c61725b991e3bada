"""Bytes in, arrays out: how a file that a skid wrote becomes a trace."""
