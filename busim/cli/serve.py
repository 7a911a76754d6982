"""`busim serve`."""

NAME = "serve"
HELP = "serve"


def command() -> None:
    """Not there yet."""
