"""Listening at a target, and trying baud and format there: nothing is ever sent."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from busim.foundation.units import CharFormat
from busim.onsite.captures import BOTH, Piece
from busim.onsite.listening.guess import SAME, SURE, Fit, fits
from busim.onsite.targets import Link
from busim.protocols import BusProtocol

_ENOUGH = 4000  # bytes after which a setting has shown what it is


def heard(link: Link, length: int | None, stopped: Callable[[], bool] = lambda: False) -> Iterator[Piece]:
    """What comes, for `length` ns (None: without end) or until `stopped()`. Raises UserError if the link fails."""
    begun = link.now
    while not stopped() and (length is None or link.now - begun < length):
        packet = link.take()
        if packet is not None:
            yield Piece(packet.at - begun, BOTH, packet.data)


def guessed(
    tries: Iterable[tuple[int, CharFormat]], opened: Callable[[int, CharFormat], Link],
    protocols: Iterable[BusProtocol], each: int, told: Callable[[str, Fit], None] = lambda *_: None,
) -> list[Fit]:  # fmt: skip
    """The best protocol at each setting; first those that fit about equally well, in the order of `tries`. `opened`
    gives the link at a setting, `each`: ns of listening. Once a setting is sure only others of its baud are tried: a
    wrong parity leaves most bytes whole. Raises UserError if a link fails.
    """
    found: list[Fit] = []
    protocols, sure = list(protocols), 0
    for baud, format in tries:
        if sure not in (0, baud):
            continue
        setting, pieces, size = f"{baud} Bd {format}", list[Piece](), 0
        with opened(baud, format) as link:
            for piece in heard(link, each, lambda: size >= _ENOUGH):  # noqa: B023  # it is used up within this turn
                pieces.append(piece)
                size += len(piece.data)
        best = fits(pieces, protocols, setting)[0]
        told(setting, best)
        found.append(best)
        if best.confidence == SURE:
            sure = baud
    most = max((one.explained for one in found), default=0.0)
    return sorted(found, key=lambda one: 0.0 if one.explained >= SAME * most else -one.explained + 2)
