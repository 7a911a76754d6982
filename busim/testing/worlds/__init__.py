"""Worlds for tests of controllers: in virtual time and served on loopback, with assertions about the line.

In: a plan, a controller. Out: an assertion that holds, or one that fails and shows the exchange as a timeline. Open
`asserting.py` first, then `story.py` (its input), `virtual_world.py`, `served_world.py` and `fuzzed.py`.
"""

from busim.testing.worlds.asserting import Asserting, LineAssertionError
from busim.testing.worlds.served_world import ServedWorld
from busim.testing.worlds.story import Story
from busim.testing.worlds.virtual_world import VirtualWorld

__all__ = ["Asserting", "LineAssertionError", "ServedWorld", "Story", "VirtualWorld"]
