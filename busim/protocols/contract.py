"""The contract of a protocol: messages, their codec, and framers that know time.

A request or reply is protocol-neutral: an ID, a verb, a key (register, code) and values. The mapping of a camera's
parameters to keys belongs to the camera model. A codec answers None for bytes that are not exactly one valid message;
it never raises on bytes of a line.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple, Protocol

READ: Final = "read"
WRITE: Final = "write"
UNKNOWN: Final = "unknown"
STEP: Final = "step"
START: Final = "start"
STOP: Final = "stop"
IDENTIFY: Final = "identify"
CHANGE_ID: Final = "change-id"
SAVE: Final = "save"
PRESET: Final = "preset"
STATUS: Final = "status"
SEARCH: Final = "search"  # this one and the next are sent to all, and answered by the addressed ones: `searching.py`
ASSIGN: Final = "assign-id"


class Request(NamedTuple):
    """`values` of a read is empty; `size` says how many values are read or written from `key` on.

    The meaning of `values`: of a write the values; of a step its number of steps, up or down; of a start the speed; of
    change-id the new ID; of preset its number; of a search and of an assignment see `searching.py`. A status and an
    identify are reads of values that the protocol chose.

    `form`: a mark of the protocol's own, which the reply repeats: the message, if one verb has several, and a
    transaction tag, if there is one; 0: the protocol's own choice. A sound message with a verb the protocol does not
    know has the verb `unknown`. `size` 0: a size that the protocol forbids.
    """

    address: int
    verb: str
    key: int
    size: int
    values: tuple[int, ...] = ()
    form: int = 0


class Reply(NamedTuple):
    """The answer to a request, whose verb, key and form it repeats. `refused`: 0, or the protocol's reason code."""

    address: int
    verb: str
    key: int
    values: tuple[int, ...] = ()
    refused: int = 0
    form: int = 0


# A sound message that is no request (a reply that a camera overhears); cameras ignore it.
OTHER: Final = Request(-1, "other", 0, 0)

DECODED: Final = 256  # latest replies that a finder of replies keeps, by their bytes and their request

# Bytes cut from a stream: the bytes, ns when the frame was complete, "" or its flaw. A plain tuple, since every frame
# on the line makes one.
Frame = tuple[bytes, int, str]
Frames = tuple[Frame, ...]


class WireFramer(Protocol):
    """Cuts frames from characters on a wire.

    `quiet_until`: without characters up to this instant (ns), `elapsed` must be called; None: it holds nothing.
    """

    quiet_until: int | None

    def feed(self, data: bytes, first: int, last: int, flags: int) -> Frames:
        """Characters without a gap, complete at `first` .. `last` ns. Returns the frames that they end."""

    def elapsed(self, at: int) -> Frames:
        """No character came up to `at` ns. Returns the frames that the silence ends."""

    def fork(self, later: int) -> WireFramer:
        """An independent framer in the same state, which hears everything `later` ns after this one."""

    def clear(self) -> None:
        """Forget the held characters."""


class StreamFramer(Protocol):
    """Finds the reply to one request in a stream of bytes without reliable time (behind a converter)."""

    def ask(self, request: Request, raw: bytes) -> bytes:
        """As `expect`, for a request (encoded: `raw`) that is sent now. Returns the bytes to send, with a transaction
        tag of their own if the protocol has tags.
        """

    def expect(self, request: Request) -> None:
        """Look for the reply to this request from now on; held bytes are dropped."""

    def feed(self, data: bytes, at: int) -> Reply | None:
        """Take bytes. Returns the reply once it is complete and sound, whatever comes before it."""

    @property
    def held(self) -> int:
        """Bytes since `expect` that made no reply."""


class BusProtocol(Protocol):
    """A protocol as the rest of busim sees it. It keeps no messages, so one object serves many lines and plans.

    `addresses`: first and last bus ID; `broadcast`: None without one; `answers_broadcast`: whether cameras answer one;
    `most_values`: the most values of one read. `keys`: camera model to parameter to key, for models without keys for
    it.
    """

    name: str
    addresses: tuple[int, int]
    broadcast: int | None
    answers_broadcast: bool
    most_values: int
    keys: Mapping[str, Mapping[str, int]]

    def encode_request(self, request: Request) -> bytes: ...

    def decode_request(self, data: bytes) -> Request | None:
        """The request, OTHER for another sound message, None for a damaged one."""

    def encode_reply(self, reply: Reply) -> bytes:
        """Empty if the protocol has no answer to this."""

    def decode_reply(self, data: bytes, request: Request) -> Reply | None: ...

    def cut_requests(self, data: bytes) -> tuple[list[Request], bytes]:
        """The sound requests in a stream, with anything between them, and the bytes that may begin another."""

    def request_bytes(self, request: Request) -> int:
        """Length of the encoded request."""

    def reply_bytes(self, request: Request) -> int:
        """Length of a good reply to it."""

    def lengths(self, request: Request) -> tuple[int, int, int]:
        """Both of these, and the most bytes to add to their sum, whatever the values: numbers with all digits, and
        every byte escaped that may be.
        """

    def silence(self, baud: float) -> int:
        """ns of quiet that end a frame on the wire, and that a master leaves between two frames."""

    def wire_framer(self, baud: float, char: int, tail: int) -> WireFramer:
        """For a receiver with `char` ns per character, of which `tail` ns come after the instant a byte is complete."""

    def stream_framer(self) -> StreamFramer: ...


ILLEGAL_VERB: Final = 1
ILLEGAL_KEY: Final = 2
ILLEGAL_VALUE: Final = 3
FAILED: Final = 4
BUSY: Final = 6
