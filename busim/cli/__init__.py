"""The command line: one module per command, which imports what it needs only when it runs."""

from busim.cli.app import main

__all__ = ["main"]
