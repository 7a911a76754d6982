"""The tap: forwards between a controller and its converter, and shows what passes.

Public: `Tap` (forwards, and tells what passes), `TapBeside` (the same in a process of its own), `Observer` (records and
decodes it), `ReplyFaults` (what a tap may do to replies, once asked to), `SerialEnd` (a serial port in place of the
converter).

Open `tap.py` first.
"""

from busim.onsite.tapping.beside import TapBeside
from busim.onsite.tapping.faults import ReplyFaults
from busim.onsite.tapping.observer import Observer
from busim.onsite.tapping.serial_ends import SerialEnd
from busim.onsite.tapping.tap import Tap

__all__ = ["Observer", "ReplyFaults", "SerialEnd", "Tap", "TapBeside"]
