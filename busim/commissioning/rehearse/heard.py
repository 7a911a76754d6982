"""What a laptop received for one request, in words."""

from __future__ import annotations

from busim.simulator.world import Heard

_SHOWN = 24  # damaged bytes printed at most


def seen(heard: Heard) -> str:
    """What the laptop received for one request, in words."""
    waited = f"within {heard.length / 1e6:.1f} ms"
    if heard.silent:
        return f"nothing {waited}"
    if len(heard.replies) > 1:
        values = ", ".join(" ".join(map(str, one.reply.values)) or "acknowledged" for one in heard.replies)
        return f"{len(heard.replies)} valid replies to one request ({values}) {waited}"
    if heard.replies:
        reply = heard.replies[0].reply
        said = f"refused with code {reply.refused}" if reply.refused else " ".join(map(str, reply.values)) or "ok"
        more = f", and {len(heard.rest)} bytes outside any reply: {_hex(heard.rest)}" if heard.rest else ""
        return f"one valid reply ({said}){more}"
    return f"{len(heard.data)} bytes without a valid reply: {_hex(heard.data)}"


def _hex(data: bytes) -> str:
    return data[:_SHOWN].hex(" ").upper() + (" ..." if len(data) > _SHOWN else "")
