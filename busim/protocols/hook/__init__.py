"""The hook to a controller under test: operators' moves go to it, its beliefs come back, as lines of JSON.

Public: `Intent` and `Belief`, `intent_line` (one as a line), `read_belief` (a line as one), `Lines` (lines from a
stream), `checked` (that a belief names known entities). No clock, no pipes: the caller moves the bytes.

Open `messages.py` first.
"""

from busim.protocols.hook.lines import LONGEST, Lines
from busim.protocols.hook.messages import BELIEFS, VERSION, Belief, Intent, Known, checked, intent_line, read_belief

__all__ = [
    "BELIEFS",
    "LONGEST",
    "VERSION",
    "Belief",
    "Intent",
    "Known",
    "Lines",
    "checked",
    "intent_line",
    "read_belief",
]
