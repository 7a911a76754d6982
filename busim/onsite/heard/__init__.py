"""What is heard of a line: bytes with their instants become exchanges, figures and a trace.

Public: `Conversation` (pairs requests with replies) with its `Exchange`; `Watched` (the figures) with `Camera` and
`Times`; `Seen` (what is known of a line beforehand) and `LineTrace` (its trace).

Open `conversation.py` first.
"""

from busim.onsite.heard.as_seen import Seen
from busim.onsite.heard.conversation import Conversation, Exchange
from busim.onsite.heard.line_trace import LineTrace
from busim.onsite.heard.watched import Camera, Times, Watched

__all__ = ["Camera", "Conversation", "Exchange", "LineTrace", "Seen", "Times", "Watched"]
