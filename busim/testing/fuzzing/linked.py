"""The connection of a pure master to a converter, as an outside client has it: it breaks, and is made again."""

from __future__ import annotations

from busim.simulator.world import ConverterPort, MasterBehindConverter, World

_SILENT = 5_000_000_000  # ns of silence after which a connection is taken for dead
_FIRST, _LONGEST = 1_000_000_000, 5_000_000_000  # ns between attempts, doubled up to the longest


class Link:
    """Stands between a master and its converter. Bytes sent without a connection are lost.

    At most one attempt to connect per second, at pauses that grow until a connection has brought something. One that
    stays silent for 5 s while requests go out is closed and made again (common practice, no source).
    """

    def __init__(self, world: World, port: MasterBehindConverter, converter: ConverterPort) -> None:
        self._kernel = world.kernel
        self._port = port
        self._converter = converter
        self._attempts = 0
        self._client = 0  # 0: no connection
        self._pause = _FIRST
        self._silent_since = -1  # ns: the first bytes sent that nothing has answered
        converter.clients.drop = self._dropped

    def start(self) -> None:
        """Connect, before the master asks."""
        self._connect(None)

    def take(self, data: bytes, client: int = 0) -> None:
        """The master sends."""
        if self._client:
            self._converter.chunk(self._client, data)
            self._look()

    def _look(self) -> None:
        """Give a connection up that has been silent for too long."""
        now = self._kernel.now
        if self._silent_since < 0:
            self._silent_since = now
        elif now - self._silent_since >= _SILENT:
            client, self._client = self._client, 0
            self._converter.close(client)
            self._again()

    def _connect(self, _: object) -> None:
        self._attempts += 1
        client = self._attempts
        if self._converter.open(client, self._deliver):
            self._client, self._silent_since = client, -1
        else:
            self._again()

    def _again(self) -> None:
        """Try once more after a pause."""
        self._kernel.at(self._kernel.now + self._pause, self._connect)
        self._pause = min(2 * self._pause, _LONGEST)

    def _dropped(self, client: int, _: bool) -> None:
        if client == self._client:
            self._client = 0
            self._again()

    def _deliver(self, client: int, data: bytes) -> None:
        if client == self._client:
            self._pause, self._silent_since = _FIRST, -1
            self._port.deliver(client, data)


def linked(world: World, make: type[Link]) -> None:
    """Give each master behind a converter such a connection, instead of a slot that it never loses."""
    for port in world.masters.values():
        if isinstance(port, MasterBehindConverter):
            converter = port.converter
            assert isinstance(converter, ConverterPort)
            converter.clients.part(port.client)
            link = make(world, port, converter)
            port.converter = link
            link.start()
