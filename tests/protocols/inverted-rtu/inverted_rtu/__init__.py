"""MODBUS RTU behind a coupler that inverts every bit: the example of a protocol in a package of its own."""

from collections.abc import Mapping

from busim.protocols import ModbusRtu, Reply, Request, StreamFramer

_INVERTED = bytes(255 - byte for byte in range(256))


class InvertedRtu:
    """MODBUS RTU with inverted bytes. Silences stay, so the plain wire framer serves too."""

    name = "inverted-rtu"
    keys: Mapping[str, Mapping[str, int]] = {"zoom-camera": {"iris": 0, "gain": 1, "shutter": 2, "tally": 13}}

    def __init__(self) -> None:
        self._plain = ModbusRtu()

    def __getattr__(self, name: str):
        return getattr(self._plain, name)

    def encode_request(self, request: Request) -> bytes:
        return self._plain.encode_request(request).translate(_INVERTED)

    def decode_request(self, data: bytes) -> Request | None:
        return self._plain.decode_request(data.translate(_INVERTED))

    def encode_reply(self, reply: Reply) -> bytes:
        return self._plain.encode_reply(reply).translate(_INVERTED)

    def decode_reply(self, data: bytes, request: Request) -> Reply | None:
        return self._plain.decode_reply(data.translate(_INVERTED), request)

    def cut_requests(self, data: bytes) -> tuple[list[Request], bytes]:
        requests, rest = self._plain.cut_requests(data.translate(_INVERTED))
        return requests, rest.translate(_INVERTED)

    def stream_framer(self) -> StreamFramer:
        return _Finder(self._plain.stream_framer())


class _Finder:
    def __init__(self, plain: StreamFramer) -> None:
        self._plain = plain

    def ask(self, request: Request, raw: bytes) -> bytes:
        return self._plain.ask(request, raw)

    def expect(self, request: Request) -> None:
        self._plain.expect(request)

    def feed(self, data: bytes, at: int) -> Reply | None:
        return self._plain.feed(data.translate(_INVERTED), at)

    @property
    def held(self) -> int:
        return self._plain.held
