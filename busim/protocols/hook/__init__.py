"""The hook to a controller under test: what operators want goes to it, what it believes comes back, as lines of JSON.

Public: `Intent` and `Belief`, `intent_line` (one as a line), `read_belief` (a line as one), `Lines` (lines out of a
stream), `checked` (that a belief speaks of what there is). No clock, no pipes: whoever has these brings the bytes.
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
