"""Broken links: the good connection of a master to its converter, each changed in at most five lines."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

from busim.testing.fuzzing.linked import Link


class NeverConnectsAgain(Link):
    def _again(self) -> None:
        self._client = 0


class ConnectsInAStorm(Link):
    def _again(self) -> None:
        self._kernel.at(self._kernel.now + 50_000_000, self._connect)


class PauseNeverGrows(Link):
    def _again(self) -> None:
        self._kernel.at(self._kernel.now + 1_000_000_000, self._connect)


class ConnectsForEachRequest(Link):
    def take(self, data: bytes, client: int = 0) -> None:
        self._connect(None)
        super().take(data)


@dataclass(frozen=True, slots=True)
class BrokenLink:
    """One broken link: its defect, and the judge that finds it."""

    make: type[Link]
    title: str
    found_by: str


BROKEN_LINKS = MappingProxyType(
    {
        "never-connects-again": BrokenLink(NeverConnectsAgain, "a broken connection is never made again", "recovery"),
        "connects-in-a-storm": BrokenLink(ConnectsInAStorm, "20 attempts to connect a second", "link-hygiene"),
        "pause-never-grows": BrokenLink(PauseNeverGrows, "a refused attempt is repeated every second", "link-hygiene"),
        "connects-for-each-request": BrokenLink(
            ConnectsForEachRequest, "a new connection for each request, the old ones stay open", "link-hygiene"
        ),
    }
)
