"""The worlds that URLs can reach now: token to outlets. The code that admits one withdraws it."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field

import serial

from busim.runtime.urls.outlet import Outlet

_PACKAGE = "busim.runtime.urls"
_offers: dict[str, Offer] = {}
_numbers = itertools.count(1)


@dataclass(frozen=True)
class Offer:
    """The outlets of one world by their converters' names, and the thread that may use them."""

    outlets: Mapping[str, Outlet]
    thread: int = field(default_factory=threading.get_ident)


def admit(offer: Offer) -> str:
    """A token for it, unique in this process."""
    packages = serial.protocol_handler_packages
    if _PACKAGE not in packages:
        packages.append(_PACKAGE)
    token = f"w{next(_numbers)}"
    _offers[token] = offer
    return token


def withdraw(token: str) -> None:
    """The world is gone."""
    _offers.pop(token, None)


def find(token: str) -> Offer | None:
    return _offers.get(token)
