"""The tap: forwards between a controller and its converter, and shows what passes.

Public: `Tap` (forwards, and tells what passes) and `Observer` (records and decodes it).

Open `tap.py` first.
"""

from busim.onsite.tapping.observer import Observer
from busim.onsite.tapping.tap import Tap

__all__ = ["Observer", "Tap"]
