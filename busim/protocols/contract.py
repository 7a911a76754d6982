"""What a protocol is: messages, their codec, and framers that know time.

A request or reply is protocol-neutral: an ID, what is asked, a key (register, code) and values. The mapping of a
camera's parameters to keys belongs to the camera model. A codec answers None for bytes that are not exactly one
valid message; it never raises on what a line can carry.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple, Protocol

READ, WRITE, UNKNOWN = "read", "write", "unknown"
STEP, START, STOP = "step", "start", "stop"
IDENTIFY, CHANGE_ID, SAVE, PRESET, STATUS = "identify", "change-id", "save", "preset", "status"
SEARCH, ASSIGN = "search", "assign-id"  # sent to all, answered by those meant: `searching.py` makes them


class Request(NamedTuple):
    """`values` of a read is empty; `size` says how many values are read or written from `key` on.

    What `values` are: of a write the values; of a step by how much, up or down; of a start the speed; of change-id the
    new ID; of preset its number; of a search and of an assignment what `searching.py` says. A status and an identify
    are reads of values that the protocol chose.

    `form`: a mark of the protocol's own, which the reply repeats: which of its messages it is, where one verb has
    several, and a transaction tag, where it has such; 0: the protocol's own choice. A sound message with a verb the
    protocol does not know has the verb `unknown`. `size` 0: a size that the protocol forbids.
    """

    id: int
    verb: str
    key: int
    size: int
    values: tuple[int, ...] = ()
    form: int = 0


class Reply(NamedTuple):
    """The answer to a request, whose verb, key and form it repeats. `refused`: 0, or the protocol's reason code."""

    id: int
    verb: str
    key: int
    values: tuple[int, ...] = ()
    refused: int = 0
    form: int = 0


# A sound message that is no request (a reply that a camera overhears): none of its business.
OTHER = Request(-1, "other", 0, 0)

# Bytes cut from a stream: the bytes, ns when the frame was known to be whole, "" or why it is no good. A plain tuple,
# since every frame on the line makes one.
Frame = tuple[bytes, int, str]
Frames = tuple[Frame, ...]


class WireFramer(Protocol):
    """Cuts frames from characters on a wire.

    `quiet_until`: if nothing is heard up to this instant (ns), `elapsed` has to be called; None: it holds nothing.
    """

    quiet_until: int | None

    def feed(self, data: bytes, first: int, last: int, flags: int) -> Frames:
        """Characters without a gap, there at `first` .. `last` ns; frames that they end."""

    def elapsed(self, at: int) -> Frames:
        """Nothing was heard up to `at` ns: frames that the silence ends."""

    def fork(self, later: int) -> WireFramer:
        """An independent framer in the same state, which heard everything `later` ns after this one."""

    def clear(self) -> None:
        """Forget what is held."""


class StreamFramer(Protocol):
    """Finds the reply to one request in a stream of bytes without reliable time (behind a converter)."""

    def ask(self, request: Request, raw: bytes) -> bytes:
        """As `expect`, for a request (encoded: `raw`) that goes out now: the bytes to send, with a transaction tag of
        their own where the protocol has such."""

    def expect(self, request: Request) -> None:
        """Look for the reply to this request from here on; what was held is dropped."""

    def feed(self, data: bytes, at: int) -> Reply | None:
        """More bytes; the reply once it is whole and sound, whatever lies before it."""

    @property
    def held(self) -> int:
        """Bytes that came since `expect` and made no reply."""


class BusProtocol(Protocol):
    """A protocol as the rest of busim sees it. It keeps nothing of what it carries: one serves many lines and plans.

    `ids`: first and last bus ID; `broadcast`: None if there is none; `answers_broadcast`: whether cameras answer one;
    `most_values`: values that one read can ask for. `keys`: camera model to parameter to key, for models that do not
    say so themselves.
    """

    name: str
    ids: tuple[int, int]
    broadcast: int | None
    answers_broadcast: bool
    most_values: int
    keys: Mapping[str, Mapping[str, int]]

    def encode_request(self, request: Request) -> bytes: ...

    def decode_request(self, data: bytes) -> Request | None:
        """The request, OTHER for a sound message that is none, None for one that is damaged."""

    def encode_reply(self, reply: Reply) -> bytes:
        """Empty where the protocol has no answer to this."""

    def decode_reply(self, data: bytes, request: Request) -> Reply | None: ...

    def cut_requests(self, data: bytes) -> tuple[list[Request], bytes]:
        """The sound requests in a stream, whatever lies between them, and the bytes that may begin another."""

    def request_bytes(self, request: Request) -> int:
        """Length of the encoded request."""

    def reply_bytes(self, request: Request) -> int:
        """Length of a good reply to it."""

    def lengths(self, request: Request) -> tuple[int, int, int]:
        """Both of these, and how many bytes more they may be together, whatever the values: numbers in all their
        digits, and every byte sent as two that may be (escaping)."""

    def silence(self, baud: float) -> int:
        """ns of quiet that end a frame on the wire, and that a master leaves between two frames."""

    def wire_framer(self, baud: float, char: int, tail: int) -> WireFramer:
        """For a receiver with `char` ns a character, of which `tail` ns lie behind the instant a byte is there."""

    def stream_framer(self) -> StreamFramer: ...


ILLEGAL_VERB, ILLEGAL_KEY, ILLEGAL_VALUE, FAILED, BUSY = 1, 2, 3, 4, 6
