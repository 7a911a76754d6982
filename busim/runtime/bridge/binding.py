"""Binds all addresses or none, and says what prevents it.

Every socket listens before the run begins, so a port in use is found before an older trace is replaced.
"""

from __future__ import annotations

import errno
import ipaddress
import socket
import sys
from collections.abc import Collection, Mapping

from busim.foundation.errors import UserError
from busim.runtime.bridge.addresses import Address

BACKLOG = 512  # waiting connections; beyond them a client must try again after a second
# Bytes the system takes from a client before the converter reads them: a box has a few kB. Linux doubles it.
RECEIVED = 4096
_BUFFER = 32768  # bytes the system keeps for a client that does not read; beyond that the converter keeps them


def bind_all(addresses: Mapping[str, Address], datagrams: Collection[str] = ()) -> dict[str, socket.socket]:
    """A listening socket for each converter's address, or one for `datagrams`. Raises UserError;
    then none stays bound.
    """
    sockets: dict[str, socket.socket] = {}
    missing: list[str] = []
    try:
        for name, address in addresses.items():
            try:
                sockets[name] = take_datagrams(address) if name in datagrams else listen(address)
            except OSError as error:
                if error.errno != errno.EADDRNOTAVAIL:
                    raise _in_the_way(name, address, error, "UDP" if name in datagrams else "TCP") from error
                missing.append(address.host)
        if missing:
            raise _not_here(sorted(set(missing), key=ipaddress.IPv4Address))
    except BaseException:
        for each in sockets.values():
            each.close()
        raise
    return sockets


def listen(address: Address) -> socket.socket:
    """A socket that listens at this address. Raises OSError."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":  # on Windows it would let two servers share a port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _BUFFER)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, RECEIVED)
        listening.setblocking(False)
        listening.bind(address)
        listening.listen(BACKLOG)
    except BaseException:
        listening.close()
        raise
    return listening


def take_datagrams(address: Address) -> socket.socket:
    """A socket that takes datagrams there. Raises OSError."""
    taken = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        taken.setblocking(False)
        taken.bind(address)
    except BaseException:
        taken.close()
        raise
    return taken


def _in_the_way(name: str, address: Address, error: OSError, kind: str) -> UserError:
    """`kind`: TCP or UDP."""
    if error.errno == errno.EADDRINUSE:
        return UserError(
            f"converter {name!r} cannot be served: its address is in use",
            found=f"another program listens at {address} already",
            mend=f"find it with `ss -l{kind[0].lower()}np 'sport = :{address.port}'` (macOS: `lsof -nP "
            f"-i{kind}:{address.port}`) and end it, or serve at ports of the system's choice with --port 0",
        )
    if error.errno in (errno.EACCES, errno.EPERM):
        return UserError(
            f"converter {name!r} cannot be served: this user may not listen there",
            found=f"{address} ({error.strerror})",
            expected="a port from 1024 up, or the right to use lower ones",
            mend="serve at ports of the system's choice with --port 0",
        )
    return UserError(
        f"converter {name!r} cannot be served", found=f"{address}: {error.strerror}", mend="give it another endpoint"
    )


def _not_here(hosts: list[str]) -> UserError:
    add, drop = ("ip addr add {}/32 dev lo", "ip addr del {}/32 dev lo")
    if sys.platform == "darwin":
        add, drop = ("ifconfig lo0 alias {}/32", "ifconfig lo0 -alias {}")
    commands = "\n".join(f"    sudo {add.format(host)}" for host in hosts)
    undo = "\n".join(f"    sudo {drop.format(host)}" for host in hosts)
    return UserError(
        "this machine does not have the addresses to listen at",
        found="none of its own is " + ", ".join(hosts),
        mend="leave out --listen planned, or give this machine the addresses with\n"
        f"{commands}\n"
        "Each makes the address one of this machine's own, on its loopback device until the next start; it needs root. "
        "As long as it is there, this machine no longer reaches a real device of that address. To undo it:\n"
        f"{undo}",
    )


def cautions(addresses: Mapping[str, Address], dialled: Mapping[str, Address]) -> list[str]:
    """The warning about addresses outside loopback, listened at or dialled; empty if there are none."""
    texts = []
    if wide := _wide(addresses):
        texts.append(
            f"caution: {', '.join(wide)} can be reached by every machine that has a way to this one, and there is "
            "no authentication: any client can move the emulated cameras and take a client's place. Real "
            "converters at these addresses would be there twice: disconnect one of the two."
        )
    texts += [
        f"caution: {name} connects to {dialled[name]}. If a controller is at work there, it will take these emulated "
        "cameras for real ones, and it may have only one place for both."
        for name in _wide(dialled)
    ]
    return texts


def _wide(addresses: Mapping[str, Address]) -> list[str]:
    return sorted(name for name, address in addresses.items() if not ipaddress.IPv4Address(address.host).is_loopback)
