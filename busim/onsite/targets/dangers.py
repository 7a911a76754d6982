"""What the opening of a target does to the line behind it: said before it is opened."""

from __future__ import annotations

from busim.onsite.targets.address import PORT, RFC2217, Target
from busim.onsite.targets.direction import KERNEL, RTS

_HEADS = (
    "A camera that hears a command may move its head at once: keep people, hands and loose cables away from every head "
    "on this line."
)


def dangers(target: Target, direction: str = "") -> tuple[str, ...]:
    """Sentences for the user, who then agrees or not. `direction`: how the driver of a serial port is switched."""
    if target.kind == PORT:
        first = (
            f"Opening {target.where} takes it from every other program, raises its DTR and may pulse its RTS. With "
            "some adapters one of them enables the driver, which disturbs whatever runs on the pair."
        )
        how = {
            KERNEL: "The kernel then enables the driver for each message (RS-485 mode of the port), or else RTS.",
            RTS: "RTS then enables the driver for each message; other programs must not touch RTS meanwhile.",
        }.get(direction, "RTS is then left low.")
        return first, how, _HEADS
    first = (
        f"Connecting to {target.where} may evict the show's controller: many boxes serve one client and drop the "
        "older one. Ask the person who runs the show, and do it while nothing depends on this line."
    )
    if target.kind == RFC2217:
        return first, "It also sets baud and format of the box's port, for every other client too.", _HEADS
    return first, _HEADS
