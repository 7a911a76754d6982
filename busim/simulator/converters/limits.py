"""How much a box stores for its clients. A real one has a few kilobytes for each (common practice, no source).

Sockets are read in portions of RECEIVE_BUFFER; the rest stays with the client.
"""

from __future__ import annotations

RECEIVE_BUFFER = 4096  # bytes of one client read from the network at once
PAUSE_ABOVE = 2048  # characters waiting for the line above which clients must pause
# Characters waiting for the line above which bytes are lost. Connections pause long before: beyond PAUSE_ABOVE come
# only portions of many clients that were under way, and a real box would not lose those.
MOST_WAITING = 65536
MOST_DATAGRAMS = 8192  # the same for UDP, where no client can be paused
MOST_UNREAD = 8192  # bytes waiting for a client that does not read above which bytes are lost
MOST_IGNORED = 4096  # bytes recorded of a client that is not served; further ones are ignored
