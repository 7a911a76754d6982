"""Faults that a tap puts into replies, once its user has asked for them: late, lost, damaged.

Requests are never changed: a changed request could be a command that moves a head. But a controller that misses a reply
may repeat its command, and a step that is repeated moves a head twice.
"""

from __future__ import annotations

from busim.foundation.errors import UserError
from busim.foundation.units import parse_time, show_time
from busim.simulator.kernel import Chance

LATE, LOST, DAMAGED = "late-reply", "lost-reply", "damaged-reply"
_LONGEST = 10_000_000_000  # ns that a reply may be held back
_FORMS = {LATE: f"{LATE} 200 ms 10 %", LOST: f"{LOST} 10 %", DAMAGED: f"{DAMAGED} 10 %"}


class ReplyFaults:
    """The faults that are on, by name: share of the pieces that they hit, and ns of delay. None at the beginning."""

    def __init__(self, seed: int = 1) -> None:
        self.on: dict[str, tuple[float, int]] = {}
        self._draws = Chance(seed).stream("tap", "faults")

    def set(self, line: str) -> str:
        """Switch one on by a line such as `late-reply 200 ms 10 %` (`LATE` without a share: all), or `off`: all off.

        Returns what is on now, in words. Raises UserError.
        """
        words = line.split()
        if words == ["off"]:
            self.on.clear()
            return "no fault is on"
        name = words[0] if words else ""
        if name not in _FORMS:
            raise UserError(
                "there is no such fault of a tap", found=repr(line[:60]), expected=" or ".join((*_FORMS, "off")),
                mend=f"write for example {_FORMS[LATE]}",
            )  # fmt: skip
        rest = " ".join(words[1:])
        time, share = "", rest
        if name == LATE:
            cut = rest.rfind("s")
            time, share = rest[: cut + 1], rest[cut + 1 :]
        self.on[name] = _share(share or ("100 %" if name == LATE else ""), name), _delay(time) if name == LATE else 0
        return "on: " + ", ".join(self._told(each) for each in self.on)

    def _told(self, name: str) -> str:
        share, delay = self.on[name]
        return f"{name}{f' by {show_time(delay)}' if delay else ''} for {100 * share:g} % of the pieces from the line"

    def apply(self, data: bytes) -> tuple[int, bytes, str]:
        """A piece from the line: the ns to hold it back, its bytes (none: lost), and the fault that hit it."""
        for name, (share, delay) in self.on.items():
            if data and self._draws.random() < share:
                if name == LATE:
                    return delay, data, name
                if name == LOST:
                    return 0, b"", name
                place = self._draws.between(0, len(data) - 1)
                flipped = data[place] ^ 1 << self._draws.between(0, 7)
                return 0, data[:place] + bytes((flipped,)) + data[place + 1 :], name
        return 0, data, ""


def _share(text: str, name: str) -> float:
    number, sign, rest = text.partition("%")
    try:
        share = float(number) / 100
        if not sign or rest.strip() or not 0 < share <= 1:
            raise ValueError
    except ValueError:
        raise UserError(
            "not a share", found=repr(text[:40]), expected="more than 0 %, at most 100 %",
            mend=f"write for example {_FORMS[name]}",
        ) from None  # fmt: skip
    return share


def _delay(text: str) -> int:
    delay = parse_time(text)
    if not 0 < delay <= _LONGEST:
        raise UserError(
            "not a delay of a reply", found=repr(text[:40]), expected="more than 0, at most 10 s",
            mend=f"write for example {_FORMS[LATE]}",
        )  # fmt: skip
    return delay
