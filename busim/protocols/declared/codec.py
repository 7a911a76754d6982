"""A declared protocol at work: the contract's protocol, made from a declaration.

The mark of a message in `form` is the number of its operation, and above the lowest byte its transaction tag, so a
reply repeats both.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from struct import error as StructError
from typing import TYPE_CHECKING, Final

from mypy_extensions import mypyc_attr

from busim.foundation.errors import Defect
from busim.protocols.contract import OTHER, UNKNOWN, Reply, Request, WireFramer
from busim.protocols.declared.codegen_read import ReadReply, reply_reader
from busim.protocols.declared.codegen_request import Table
from busim.protocols.declared.cutting import Cutter, MarkCutter, SizeCutter, TrialCutter
from busim.protocols.declared.declaration import Declaration, Operation
from busim.protocols.declared.framers import CuttingFramer, ReplyFinder
from busim.protocols.declared.framing import Wrapper
from busim.protocols.declared.layouts import READS, Layout, layouts, values_asked
from busim.protocols.declared.overlap import beginning, same_bytes
from busim.protocols.declared.recognition import Recogniser
from busim.protocols.declared.writers import Write, writer
from busim.protocols.silence import SilenceFramer

if TYPE_CHECKING:
    from busim.protocols.declared.reference import Reference

_MOST_CHOICES: Final = 4096
_DOES_NOT_FIT: Final = (ValueError, StructError, IndexError)
_MARK: Final = 0xFF  # the part of `form` that is the operation's number
_MOST_TAGS: Final = 1 << 16


@mypyc_attr(allow_interpreted_subclasses=True)
class DeclaredProtocol:
    """A protocol from a file. `declaration`: the content of the file. `tags`: the number of
    transaction tags, 0: none.
    """

    def __init__(self, declaration: Declaration) -> None:
        self.declaration = declaration
        self.name = declaration.name
        self.addresses = declaration.addresses
        self.broadcast = declaration.broadcast
        self.answers_broadcast = declaration.answers_broadcast
        self.keys: Mapping[str, Mapping[str, int]] = declaration.keys
        self.layouts = layouts(declaration)
        self.operations = {operation.number: operation for operation in declaration.operations}
        self.sizes = {
            number: values_asked(operation, self.layouts[number, "request"], self.layouts[number, "reply"])
            for number, operation in self.operations.items()
        }
        reads = (high for number, (_, high) in self.sizes.items() if self.operations[number].verb == "read")
        self.most_values = max(reads, default=1)
        tagged = "tag" in declaration.frame
        self.tags = min(declaration.fields["tag"].bounds[1] + 1, _MOST_TAGS) if tagged else 0
        self._wrapper = Wrapper(declaration.framing)
        self._plain = self._wrapper.plain
        self._before = declaration.framing.start if self._plain else b""
        self._behind = declaration.framing.end if self._plain else b""
        self._longest = declaration.framing.longest
        self._recognise = Recogniser(declaration, self.layouts, self.sizes, self._before, self._behind).request
        self._codes = {written: code for code, written in declaration.reasons.items()}
        self._writers: dict[tuple[int, str, int], Write] = {}
        self._choices: dict[tuple[str, int, int], tuple[Operation, ...]] = {}
        self._direct: dict[tuple[str, int, int], Write] = {}
        self._readers: dict[tuple[int, int], tuple[ReadReply, ...]] = {}
        self._heard: dict[tuple[str, int, int], tuple[ReadReply, ...]] = {}
        self._last: tuple[bytes, Request | None] = (b"", None)
        self._cutter = self._make_cutter()

    def definition(self) -> Reference:
        """The slow definition of the same frames, with which tests compare the codec."""
        from busim.protocols.declared.reference import Reference  # needs construct, which a run does not

        return Reference(self.declaration)

    def common_bytes(self, one: Layout, other: Layout) -> bytes | None:
        """Bytes up to the check that both layouts can have, None if there are none."""
        counts = [(0, 0) if each.operation is None else self.sizes[each.operation.number] for each in (one, other)]
        return same_bytes(one, counts[0], other, counts[1])

    def beginning_bytes(self, one: Layout, other: Layout) -> bytes | None:
        """Bytes that are a whole request and the beginning of a longer one. None if there are none, or if a check, a
        length or marks distinguish the two.
        """
        if self.declaration.framing.kind != "silence" or self.declaration.check is not None:
            return None
        if one.operation is None or other.operation is None:
            return None
        return beginning(one, self.sizes[one.operation.number], other, self.sizes[other.operation.number])

    # -- which operation ------------------------------------------------------------------------------------

    def _operation(self, request: Request) -> Operation | None:
        """The operation of the request: the one its form names, or the first that can carry it."""
        _, verb, key, size, values, form = request
        asked = verb, size, form & _MARK
        choice = self._choices.get(asked)
        if choice is None:
            choice = self._choose(*asked)
        for operation in choice:
            if operation.key is not None and operation.key != key:
                continue
            if operation.values is None or operation.values == values:
                return operation
        return None

    def _choose(self, verb: str, size: int, form: int) -> tuple[Operation, ...]:
        found = tuple(
            operation
            for number, operation in self.operations.items()
            if operation.verb == verb and form in (0, number) and self.sizes[number][0] <= size <= self.sizes[number][1]
        )
        if len(self._choices) < _MOST_CHOICES:
            self._choices[verb, size, form] = found
        return found

    def _writer(self, number: int, direction: str, n: int) -> Write:
        write = self._writers.get((number, direction, n))
        if write is None:
            write = writer(self.layouts[number, direction], n, self._before, self._behind)
            self._writers[number, direction, n] = write
        return write

    # -- requests -------------------------------------------------------------------------------------------

    def encode_request(self, request: Request) -> bytes:
        """Raises Defect for a message the protocol cannot carry."""
        address, verb, key, size, values, form = request
        write = self._direct.get((verb, size, form & _MARK)) or self._way_of(request)
        if len(values) != size and verb not in READS:
            raise Defect(f"{self.name} cannot carry {request}")
        try:
            content = write(address, key, form >> 8, 0, size, values)
        except _DOES_NOT_FIT as error:
            raise Defect(f"{self.name} cannot carry {request}: {error}") from None
        return content if self._plain else self._wrapper.wrap(content)

    def _way_of(self, request: Request) -> Write:
        """The function that writes this request. If it writes all requests of the kind, the next
        call finds it at once.
        """
        operation = self._operation(request)
        if operation is None:
            raise Defect(f"{self.name} cannot carry {request}")
        _, verb, _, size, _, form = request
        write = self._writer(operation.number, "request", size)
        others = self._choices.get((verb, size, form & _MARK), ())
        if others == (operation,) and operation.key is None and operation.values is None:
            self._direct[verb, size, form & _MARK] = write
        return write

    def decode_request(self, data: bytes) -> Request | None:
        last, request = self._last
        if data is last:  # a framer has just checked these very bytes
            return request
        if len(data) > self._longest:
            return None
        if self._plain:
            return self._recognise(data)
        content = self._wrapper.unwrap(data)
        return None if content is None else self._recognise(content)

    def _sound(self, data: bytes) -> bool:
        request = self.decode_request(data)
        self._last = (data, request)
        return request is not None

    def tagged(self, request: Request, tag: int) -> Request:
        """The request with another transaction tag, from 0. Raises Defect if no operation can carry it."""
        operation = self._operation(request)
        if operation is None:
            raise Defect(f"{self.name} cannot carry {request}")
        return request._replace(form=operation.number | tag << 8)

    # -- replies --------------------------------------------------------------------------------------------

    def encode_reply(self, reply: Reply) -> bytes:
        """Empty for an unanswered refusal. Raises Defect for a reply the protocol cannot carry."""
        address, _, key, values, refused, form = reply
        number = form & _MARK or self._first_of(reply)
        direction = "refusal" if refused else "reply"
        if refused and (number, direction) not in self.layouts:
            return b""
        reason = self.declaration.reasons.get(refused, refused) if refused else 0
        n = len(values)
        try:
            content = self._writer(number, direction, n)(address, key, form >> 8, reason, n, values)
        except (*_DOES_NOT_FIT, KeyError) as error:
            raise Defect(f"{self.name} cannot carry {reply}: {error!r}") from None
        return content if self._plain else self._wrapper.wrap(content)

    def _first_of(self, reply: Reply) -> int:
        """The operation that a reply without form answers; 0 if none does."""
        operation = self._operation(Request(reply.address, reply.verb, reply.key, len(reply.values), reply.values))
        if operation is None:
            operation = next((one for one in self.operations.values() if one.verb == reply.verb), None)
        return operation.number if operation else 0

    def decode_reply(self, data: bytes, request: Request) -> Reply | None:
        """The reply to `request`, or None if these bytes are no sound reply to it."""
        if not self._plain:
            content = self._wrapper.unwrap(data)
            if content is None:
                return None
            data = content
        asked = request[1], request[3], request[5] & _MARK
        for read in self._heard.get(asked) or self._answers(request, asked):
            reply = read(data, request)
            if reply is not None:
                return reply
        return None

    def _answers(self, request: Request, asked: tuple[str, int, int]) -> tuple[ReadReply, ...]:
        """The function that reads the answers to a request. If it reads those to all of the kind, the next call finds
        it at once.
        """
        operation = self._operation(request)
        if operation is None:
            return ()
        place = operation.number, request.size
        answers = self._readers.get(place)
        if answers is None:
            answers = self._readers[place] = self._answers_to(*place)
        if self._choices.get(asked) == (operation,) and operation.key is None and operation.values is None:
            self._heard[asked] = answers
        return answers

    def _answers_to(self, number: int, n: int) -> tuple[ReadReply, ...]:
        most = self.sizes[number][1]
        return tuple(
            reply_reader(
                self.layouts[number, direction], n, most, self._before, self._behind, self.broadcast, self._codes
            )
            for direction in ("reply", "refusal")
            if (number, direction) in self.layouts
        )

    # -- sizes and times ------------------------------------------------------------------------------------

    def request_bytes(self, request: Request) -> int:
        """Length of the encoded request."""
        return len(self.encode_request(request))

    def reply_bytes(self, request: Request) -> int:
        """The longest length of a good reply to it, without escapes."""
        operation = self._operation(request)
        if operation is None:
            raise Defect(f"{self.name} cannot carry {request}")
        return self._on_the_wire(self.layouts[operation.number, "reply"].size(request.size)[1])

    def lengths(self, request: Request) -> tuple[int, int, int]:
        """Both of these, and the most bytes to add to their sum: every number with all digits, and every byte between
        the marks escaped.
        """
        asked, answered = self.request_bytes(request), self.reply_bytes(request)
        return asked, answered, self._most_bytes(request) - asked - answered

    def _most_bytes(self, request: Request) -> int:
        framing, operation = self.declaration.framing, self._operation(request)
        if operation is None:
            raise Defect(f"{self.name} cannot carry {request}")
        sides = (self.layouts[operation.number, side].size(request.size)[1] for side in ("request", "reply"))
        if framing.escape is None:
            return sum(map(self._on_the_wire, sides))
        return sum(2 * content + len(framing.start) + len(framing.end) for content in sides)

    def _on_the_wire(self, content: int) -> int:
        framing = self.declaration.framing
        return len(framing.start) + content * (2 if framing.hex else 1) + len(framing.end)

    def silence(self, baud: float) -> int:
        """ns of quiet that end a frame (if silence does), and that a master leaves between two frames."""
        framing = self.declaration.framing
        return max(framing.quiet.at(baud), framing.least_quiet.at(baud), framing.gap.at(baud))

    # -- framers --------------------------------------------------------------------------------------------

    def wire_framer(self, baud: float, char: int, tail: int) -> WireFramer:
        framing = self.declaration.framing
        if framing.kind == "silence":
            after = max(framing.quiet.at(baud), framing.least_quiet.at(baud))
            return SilenceFramer(char, tail, after, after, framing.longest)
        return CuttingFramer(self._cutter, char, tail, framing.forget.at(baud))

    def stream_framer(self) -> ReplyFinder:
        return ReplyFinder(self)

    def cut(self, data: bytes) -> list[tuple[int, int, str]]:
        """The frames in bytes without times: (begin, end, flaw), junk between them with a flaw."""
        return self._cutter.cut(data, eager=True)[0]

    def cut_requests(self, data: bytes) -> tuple[list[Request], bytes]:
        cuts, keep = self._cutter.cut(data, eager=True)
        found = [self.decode_request(data[begin:end]) for begin, end, flaw in cuts if not flaw]
        requests = [one for one in found if one is not None and one is not OTHER and one.verb != UNKNOWN]
        return requests, data[keep:]

    def reply_cutter(self, request: Request) -> Cutter:
        """The cutter of the stream with the reply to `request`."""
        if self.declaration.framing.kind != "silence":
            return self._cutter
        operation = self._operation(request)
        if operation is None:
            raise Defect(f"{self.name} cannot carry {request}")
        directions = [name for name in ("reply", "refusal") if (operation.number, name) in self.layouts]
        sizes = {self.layouts[operation.number, name].size(request.size)[0] for name in directions}
        return TrialCutter(sizes, lambda data: self.decode_reply(data, request) is not None, self._longest)

    def _make_cutter(self) -> Cutter:
        framing = self.declaration.framing
        if framing.kind == "marks":
            return MarkCutter(framing.start, framing.end, framing.longest)
        if framing.kind == "silence":
            asked = [layout for layout in self.layouts.values() if layout.direction == "request" and layout.operation]
            sizes = {
                layout.size(n)[0]
                for layout in asked
                if layout.operation is not None
                for n in range(self.sizes[layout.operation.number][0], self.sizes[layout.operation.number][1] + 1)
            }
            return TrialCutter(sizes, self._is_request, framing.longest)
        first = self.declaration.frame[0]
        head = first if isinstance(first, bytes) else b""
        size_of = self._stated_size() if framing.kind == "length" else lambda _data, _at: framing.length
        return SizeCutter(head, size_of, self._sound, framing.longest)

    def _is_request(self, data: bytes) -> bool:
        request = self.decode_request(data)
        return request is not None and request is not OTHER and request.verb != UNKNOWN

    def _stated_size(self) -> Callable[[bytes, int], int]:
        """A function that reads the size of a frame from its length field: the fields before it have one size each."""
        layout = self.layouts[self.declaration.operations[0].number, "request"]
        at = layout.offset("length") or 0
        width = layout.width("length", 0)[0]
        stated = Table(layout.encoding("length").decode)
        more = -layout.counted(0, 0)
        longest = self._longest

        def size_of(data: bytes, begin: int) -> int:
            raw = data[begin + at : begin + at + width]
            if len(raw) < width:
                return 0
            number = stated[raw]
            size = -1 if number is None else number + more
            return size if at + width <= size <= longest else -1

        return size_of
