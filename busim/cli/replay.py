"""`busim replay`."""

NAME = "replay"
HELP = "replay"


def command() -> None:
    """Not there yet."""
