"""Slots: the clients that a converter serves.

A box serves a number of clients, and boxes differ in how they treat one more: it is refused, it displaces the oldest,
or it is accepted and never served. A client whose connection broke without an end keeps its slot until the box notices,
which may take minutes (`hold_slot`). Until then the box seems full.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from busim.plan import ClientsPlan


@dataclass(frozen=True, slots=True)
class Policy:
    """How a converter treats its clients: `clients` as in the plan.

    `reboots`: instants and lengths of absences, ns; `when_down`: refuse or hang, for clients that connect then.
    `datagrams`: UDP, so there are no connections: a client comes with its first datagram, and the idle time-out forgets
    it without notice.
    """

    clients: ClientsPlan
    reboots: tuple[tuple[int, int], ...] = ()
    datagrams: bool = False
    when_down: str = "refuse"


class Arrival(NamedTuple):
    """The treatment of a new client: `connected` or refused, `served` or ignored; the client dropped for it."""

    connected: bool
    served: bool
    dropped: int | None = None


class Slots:
    """`most` and `when_full` as in the plan; `hold`: its `hold_slot`, ns."""

    def __init__(self, most: int, when_full: str, hold: int) -> None:
        self._most = most
        self._when_full = when_full
        self._hold = hold
        self._taken: dict[int, int | None] = {}  # client to the instant its slot is free again, None: connected
        self._lasting: set[int] = set()

    def stay(self, client: int) -> None:
        """A client that always has a slot and never leaves."""
        self._taken[client] = None
        self._lasting.add(client)

    def arrive(self, client: int, now: int) -> Arrival:
        """A client comes at `now` ns."""
        for gone in [one for one, until in self._taken.items() if until is not None and until <= now]:
            del self._taken[gone]
        dropped = None
        if len(self._taken) >= self._most:
            if self._when_full == "accept-and-ignore":
                return Arrival(True, False)
            oldest = next((one for one in self._taken if one not in self._lasting), None)
            if self._when_full == "refuse" or oldest is None:
                return Arrival(False, False)
            dropped = oldest if self._taken.pop(oldest) is None else None
        self._taken[client] = None
        return Arrival(True, True, dropped)

    def leave(self, client: int, now: int, *, ended: bool) -> int | None:
        """A client has gone; `ended`: it closed the connection. Returns until when (ns) its slot is held, None: it is
        free.
        """
        if client not in self._taken or client in self._lasting:
            return None
        if ended or not self._hold:
            del self._taken[client]
            return None
        self._taken[client] = now + self._hold
        return now + self._hold
