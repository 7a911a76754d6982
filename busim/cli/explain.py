"""`busim explain`."""

NAME = "explain"
HELP = "explain"


def command() -> None:
    """Not there yet."""
