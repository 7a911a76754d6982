"""Actions: all changes of a running installation from outside, in one list for every entrance.

In: a typed line (`read_line`), or a name with arguments (`prepare`). Out: a checked call; the owner of the session's
clock makes it at the present instant. Each is recorded as an input, so a replay repeats it. Open `listed` first.
"""

from busim.runtime.actions.action import Action, Argument, Prepared
from busim.runtime.actions.listed import ACTIONS, help_text, prepare
from busim.runtime.actions.reading import read_line

__all__ = ["ACTIONS", "Action", "Argument", "Prepared", "help_text", "prepare", "read_line"]
