"""The command line: one module per command, which imports what it needs only when it runs."""

import sys


def main() -> None:
    """Run the command line and exit."""
    try:  # Ctrl-C during the imports ends as quietly as a later one
        from busim.cli.app import main as run
    except KeyboardInterrupt:
        sys.exit(130)
    run()


__all__ = ["main"]
