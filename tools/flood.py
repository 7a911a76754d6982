"""Sends control requests at a rate over a few connections, without waiting for answers (called by tools/bench).

flood.py URL TOKEN RATE SECONDS
"""

from __future__ import annotations

import select
import socket
import sys
import time

_CONNECTIONS = 16


def main() -> None:
    """Print the number of requests sent, and the number of answers per status."""
    url, token, rate, seconds = sys.argv[1], sys.argv[2], float(sys.argv[3]), float(sys.argv[4])
    host, port = url.removeprefix("http://").split(":")
    body = b'{"line": "mark flood"}'
    request = (
        f"POST /actions HTTP/1.1\r\nHost: {host}\r\nAuthorization: Bearer {token}\r\n"
        f"Content-Length: {len(body)}\r\n\r\n"
    ).encode() + body
    peers = [socket.create_connection((host, int(port))) for _ in range(_CONNECTIONS)]
    for peer in peers:
        peer.setblocking(False)
    began, sent, tried, answers = time.monotonic(), 0, 0, b""
    while (now := time.monotonic() - began) < seconds:
        for _ in range(int(now * rate) - tried):
            peer = peers[tried % _CONNECTIONS]
            tried += 1
            try:
                sent += peer.send(request) == len(request)
            except BlockingIOError:  # the other end reads more slowly
                continue
        for peer in select.select(peers, [], [], 0.001)[0]:
            answers += peer.recv(65536)
    counts = {status: answers.count(f"HTTP/1.1 {status}".encode()) for status in (200, 429, 503)}
    sys.stdout.write(
        f"{tried / seconds:.0f} requests a second tried, {sent / seconds:.0f} went out; answered {counts}\n"
    )


if __name__ == "__main__":
    main()
