"""`busim export`."""

NAME = "export"
HELP = "export"


def command() -> None:
    """Not there yet."""
