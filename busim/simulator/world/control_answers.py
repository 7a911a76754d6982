"""How a converter answers COM port control: in its own manner and at once, unless a fault lies over it."""

from __future__ import annotations

from collections.abc import Callable

from busim.simulator.converters import ComPort
from busim.simulator.fault_hooks import Remove
from busim.simulator.kernel import Kernel
from busim.simulator.world.clients import Clients


class ControlAnswers:
    """The answers of one port to all its clients. `com`: None for a converter without COM port control."""

    def __init__(self, kernel: Kernel, com: ComPort | None, clients: Clients) -> None:
        self._kernel = kernel
        self._com = com
        self._clients = clients
        self._late = 0  # ns
        self._told: list[Callable[[], None]] = []

    def answer(self, client: int, data: bytes) -> None:
        """Answer one client now, or late."""
        for told in self._told:
            told()
        if self._late:
            self._kernel.at(self._kernel.now + self._late, self._answer_late, (client, data))
        else:
            self._clients.answer(client, data)

    def _answer_late(self, what: tuple[int, bytes]) -> None:
        self._clients.answer(*what)

    def cover(self, manner: str, delay: int, told: Callable[[], None]) -> Remove:
        """Answer in this manner, `delay` ns late; `told` hears of each answer. What takes it out goes back."""
        com = self._com
        if com is None:
            return lambda: None
        own, late = com.manner, self._late
        com.manner, self._late = manner, delay
        self._told.append(told)

        def remove() -> None:
            com.manner, self._late = own, late
            self._told.remove(told)

        return remove
