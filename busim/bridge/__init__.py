"""The bridge: converters as TCP servers or clients and as serial ports, so that a real controller reaches a line."""

from busim.bridge.addresses import Address, addresses, dialled
from busim.bridge.binding import bind_all, cautions
from busim.bridge.door import Door, Enter
from busim.bridge.pty_door import PtyDoor, link_names

__all__ = [
    "Address",
    "Door",
    "Enter",
    "PtyDoor",
    "addresses",
    "bind_all",
    "cautions",
    "dialled",
    "link_names",
]
