"""The command line: one module per command, which imports what it needs only when it runs.

In: words of a shell. Out: a screen with the answer first, or JSON, and an exit code. Open `app.py` first, then
`run.py`.
"""

import sys


def main() -> None:
    """Run the command line and exit."""
    try:  # Ctrl-C during the imports ends as quietly as a later one
        from busim.cli.gc_tuning import collect_seldom

        collect_seldom()
        from busim.cli.app import main as run
    except KeyboardInterrupt:
        sys.exit(130)
    run()


__all__ = ["main"]
