"""How much a box stores for its clients. A real one has a few kilobytes for each (common practice, no source).

Sockets are read in portions of RECEIVE_BUFFER; the rest stays with the client.
"""

from __future__ import annotations

RECEIVE_BUFFER = 4096  # bytes of one client read from the network at once
PAUSE_ABOVE = 2048  # characters waiting for the line above which clients must pause
MOST_WAITING = 65536  # characters waiting for the line above which bytes are lost
MOST_UNREAD = 65536  # bytes waiting for a client that does not read above which bytes are lost
MOST_IGNORED = 4096  # bytes recorded of a client that is not served; further ones are ignored
