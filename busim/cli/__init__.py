"""The command line: one module per command, which imports what it needs only when it runs."""

import sys


def main() -> None:
    """Run the command line and exit."""
    try:  # a hand that regrets at once is told as little as one that does later
        from busim.cli.app import main as run
    except KeyboardInterrupt:
        sys.exit(130)
    run()


__all__ = ["main"]
