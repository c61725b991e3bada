"""The `beadline` command."""

from beadline.cli.parsing import main

__all__ = ["main"]
