"""The local address of each converter of a plan.

A rehearsal needs no address of the real installation on this machine: 198.51.100.44:15001 is served at
127.51.100.44:15001, so one number changes in the controller's settings and the ports stay. All of 127.0.0.0/8 belongs
to the machine itself on Linux.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from busim.foundation.errors import UserError
from busim.plan import ConverterPlan


class Address(NamedTuple):
    """The address of a served converter; port 0: one that the system chooses."""

    host: str
    port: int

    def __str__(self) -> str:
        return f"{self.host}:{self.port}"


def addresses(
    converters: Iterable[ConverterPlan], *, planned: bool = False, any_port: bool = False
) -> dict[str, Address]:
    """The address of each listening converter by name: on loopback, or (`planned`) as in the plan.

    A UDP converter that knows its controller's address has one too, as the source of its datagrams.

    Raises UserError if two converters share an address.
    """
    found: dict[str, Address] = {}
    at: dict[tuple[Address, str], ConverterPlan] = {}
    for converter in converters:
        if converter.dials is not None and converter.transport == "tcp":
            continue
        address = found[converter.name] = Address(_here(converter.host, planned), 0 if any_port else converter.port)
        other = at.setdefault((address, converter.transport), converter)
        if other is not converter and address.port:
            raise UserError(
                "two converters would be served at one address",
                found=f"{other.name!r} ({other.host}:{other.port}) and {converter.name!r} "
                f"({converter.host}:{converter.port}), both at {address}",
                expected="endpoints that differ in the last three numbers of the address, or in the port",
                mend="serve each at a port of the system's choice with --port 0, or use --listen planned",
            )
    return found


def dialled(converters: Iterable[ConverterPlan], *, planned: bool = False) -> dict[str, Address]:
    """The controller's address for each converter that connects to one: on loopback, or as in the plan."""
    return {
        converter.name: Address(_here(converter.dials[0], planned), converter.dials[1])
        for converter in converters
        if converter.dials is not None
    }


def _here(host: str, planned: bool) -> str:
    return host if planned else "127." + host.partition(".")[2]
