"""Actions: what can be done to a running installation from outside, in one list for every entrance.

In: a line that somebody typed (`read_line`), or a name with arguments (`prepare`). Out: a call that does it, after
everything about it was checked; whoever has the session's clock makes it at the present instant. Each is recorded as an
input, so a replay does it again. First file to open: `listed`.
"""

from busim.runtime.actions.action import Action, Argument, Prepared
from busim.runtime.actions.listed import ACTIONS, help_text, prepare
from busim.runtime.actions.reading import read_line

__all__ = ["ACTIONS", "Action", "Argument", "Prepared", "help_text", "prepare", "read_line"]
