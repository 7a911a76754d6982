"""The device under test as the checks see it: what can be read from it, and how long no reply takes."""

from __future__ import annotations

from collections.abc import Callable

from busim.foundation.errors import Defect, UserError
from busim.onsite.conform.damage import REACH, harmless
from busim.onsite.targets import Asked, RealTool
from busim.plan.models import Model, Parameter
from busim.protocols import READ, Request, spoken

_LONGER = 3  # times the slowest reply seen that count as silence
_SHIFTS = 4  # attempts to shift what went before
_LEAST = 100_000_000  # ns


class Device:
    """One device at `bus_id`. `person`: puts a question to somebody on site, None: nobody is there.

    `times`: ns of each reply to a read so far. `left`: what the test may have left changed, "" for nothing.

    Raises UserError if the model does not speak the protocol.
    """

    def __init__(
        self, tool: RealTool, model: Model, bus_id: int, *, changes: bool = False,
        person: Callable[[str], bool] | None = None,
    ) -> None:  # fmt: skip
        self.tool = tool
        self.protocol = tool.protocol
        self.model = spoken(model, tool.protocol)
        self.bus_id = bus_id
        self.changes = changes
        self.person = person
        self.times: list[int] = []
        self.left = ""
        self.keys = self.model.keys[self.protocol.name]
        self.parameters = [one for one in self.model.parameters if one.name in self.keys]
        self._probe: Request | None = None

    @property
    def standard(self) -> bool:
        """Whether the protocol is MODBUS RTU, whose standard the sources of the checks are."""
        return self.protocol.name == "modbus-rtu"

    def source(self, text: str) -> str:
        """The source of a rule, for the protocol that it is of."""
        return text if self.standard else ""

    def read(self, parameter: Parameter, bus_id: int | None = None) -> Request:
        """The read of one value."""
        return Request(self.bus_id if bus_id is None else bus_id, READ, self.keys[parameter.name], 1)

    def readable(self) -> list[Parameter]:
        """The parameters that a message of the protocol reads."""
        found = []
        for one in self.parameters:
            try:
                self.protocol.encode_request(self.read(one))
            except Defect:  # no message reads this one
                continue
            found.append(one)
        return found

    @property
    def probe(self) -> Request:
        """A read that this device has answered with a value."""
        if self._probe is None:
            raise UserError(
                "the device answers no read of this model", found=f"nothing sound from bus ID {self.bus_id}",
                expected=f"a value of {self.model.name}",
                mend="check bus ID, baud, format, model and that the device has power; then start again",
            )  # fmt: skip
        return self._probe

    @property
    def quiet(self) -> int:
        """ns without a byte that count as no reply: longer than any reply so far took."""
        return max(_LEAST, _LONGER * max(self.times, default=0))

    def ask(self, request: Request, *, time_out: int | None = None) -> Asked:
        """Ask, and remember how long a sound reply to a read took."""
        asked = self.tool.ask(request, time_out=time_out)
        if request.verb == READ and asked.took is not None:
            self.times.append(asked.took)
            if self._probe is None and asked.reply is not None and not asked.reply.refused:
                self._probe = request
        return asked

    def alive(self) -> bool:
        """Whether the next sound read is answered."""
        return self.ask(self.probe).reply is not None

    def safe(self, raw: bytes) -> bool:
        """Whether no run of what was sent, these bytes and a read after them is a sound message that is no read.

        A checksum of 16 bits fits some long run by chance; then further reads are sent, which shift what went before.
        """
        after = self.protocol.encode_request(self.probe)
        for _ in range(_SHIFTS):
            before = b"".join(self.tool.sent[-REACH:])[-REACH:]
            if harmless(self.protocol, before + raw + after, len(before)):
                return True
            self.alive()
        return False

    def unanswered(self, raw: bytes) -> bytes:
        """Send bytes unchanged. Returns everything that comes until the line has been silent: b"" for silence."""
        heard = self.tool.send(raw, self.quiet)
        return heard.rest + self.tool.settle()
