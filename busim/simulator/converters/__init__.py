"""Converters: what an Ethernet-to-serial box does between network and line, as pure objects.

Open `slots.py` first.
"""

from busim.simulator.converters.arbiter import Arbiter, cut_whole
from busim.simulator.converters.limits import (
    MOST_DATAGRAMS,
    MOST_IGNORED,
    MOST_UNREAD,
    MOST_WAITING,
    PAUSE_ABOVE,
    RECEIVE_BUFFER,
)
from busim.simulator.converters.packing import Packer
from busim.simulator.converters.rfc2217 import (
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
from busim.simulator.converters.slots import Arrival, Policy, Slots
from busim.simulator.converters.telnet import Telnet, escaped, plain_data

__all__ = [
    "MANNERS",
    "MOST_DATAGRAMS",
    "MOST_IGNORED",
    "MOST_UNREAD",
    "MOST_WAITING",
    "PAUSE_ABOVE",
    "RECEIVE_BUFFER",
    "Action",
    "Answer",
    "Apply",
    "Arbiter",
    "Arrival",
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
    "cut_whole",
    "escaped",
    "plain_data",
]
