"""Converters: what an Ethernet-to-serial box does between network and line, as pure objects."""

from busim.converters.arbiter import Arbiter
from busim.converters.packing import Packer
from busim.converters.rfc2217 import (
    MANNERS,
    Action,
    Answer,
    Apply,
    Break,
    ComClient,
    ComPort,
    Forward,
    Hold,
    Purge,
    Signal,
)
from busim.converters.slots import Policy, Slots
from busim.converters.telnet import Telnet

__all__ = [
    "MANNERS",
    "Action",
    "Answer",
    "Apply",
    "Arbiter",
    "Break",
    "ComClient",
    "ComPort",
    "Forward",
    "Hold",
    "Packer",
    "Policy",
    "Purge",
    "Signal",
    "Slots",
    "Telnet",
]
