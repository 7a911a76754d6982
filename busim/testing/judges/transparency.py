"""Transparency: do all byte values pass a converter?"""

from __future__ import annotations

from typing import Any

from busim.testing.judging import About, Ground, Judge, Scene


class Transparency(Judge):
    """Compares the bytes given to a converter with those it sends. It judges the installation."""

    about = About(
        name="transparency",
        title="Transparency: all 256 byte values survive",
        passes="the bytes from a converter to the line equal those of its clients",
        catches="bytes eaten or changed by a line discipline, Telnet on one side only",
        needs="inputs of a converter: bytes from outside, and the bursts that it sent",
        bound="none: no byte may differ. No record shows the bytes delivered to the network, so that direction is "
        "judged by the exchanges",
    )

    def __init__(self, ground: Ground, scene: Scene) -> None:
        super().__init__(ground, scene)
        self._given: dict[int, bytearray] = {}

    def entered(self, record: tuple[Any, ...]) -> None:
        _, _, port, _, what, data = record
        if what == "bytes":
            self._given.setdefault(port, bytearray()).extend(data)

    def sent(self, record: tuple[Any, ...]) -> None:
        _, line, driver, at, _, _, data, _ = record
        given = self._given.get(driver)
        if given is None:
            return
        self.judged += 1
        self.state = "judging"
        found = given.find(data)
        if found < 0:
            self.fail(at, line, f"{self.ground.name(driver)} sent {data.hex(' ')}, which no client gave it like this")
            given.clear()
            return
        del given[: found + len(data)]


JUDGE = Transparency
