"""The meaning of a line's bursts: requests and answers, as judges get them.

All judges share each event, so none changes one. They are plain classes, because judges look at the fields of millions
of them: a named tuple takes five times as long to read, and a dataclass is made by Python where the core is compiled.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from busim.protocols import Reply, Request

# Columns of an exchange record. Most are sound, so judges look at one before they unpack all fifteen.
SENT: Final = 9
ENDED: Final = 10
OUTCOME: Final = 12
READ_AT: Final = 13


class Asked:
    """A request on the wire, from its first start bit to the end of its last stop bit (ns). `driver`: its sender, a
    number of the trace; `ours`: whether that is the controller under test; `camera`: the number of the planned camera
    with this address, 0 for none. `exact`: some station may have heard different characters. `response`: ns from its
    start until the controller can have the whole reply, at the longest, less what its earlier pieces took; `wait`: ns
    after which a controller that waits as planned times out. `crossed`: a reply to something else, which fits it, was
    on its way to the controller then.
    """

    def __init__(
        self, start: int, end: int, line: int, driver: int, ours: bool, camera: int, request: Request, data: bytes,
        exact: bool, response: int, wait: int, crossed: bool = False,
    ) -> None:  # fmt: skip
        self.start = start
        self.end = end
        self.line = line
        self.driver = driver
        self.ours = ours
        self.camera = camera
        self.request = request
        self.data = data
        self.exact = exact
        self.response = response
        self.wait = wait
        self.crossed = crossed


class Answered:
    """A burst of a camera. `asked`: the request that it answers, None without a recent one; `reply`: its meaning, None
    for no sound reply. `late`: another request has been made since. `in_time`: it came as early as the plan wants.
    `poses`: it answers no request to its sender, and yet it is a sound reply under the ID that the controller asked.
    """

    def __init__(
        self, start: int, end: int, line: int, camera: int, asked: Asked | None, reply: Reply | None, late: bool,
        data: bytes, exact: bool, in_time: bool, poses: bool = False,
    ) -> None:  # fmt: skip
        self.start = start
        self.end = end
        self.line = line
        self.camera = camera
        self.asked = asked
        self.reply = reply
        self.late = late
        self.data = data
        self.exact = exact
        self.in_time = in_time
        self.poses = poses


class Settled:
    """A request of the controller under test, and its result on the wire by its next one (`over` ns).

    `answers`: sound replies to it, in order; `others`: other bursts of cameras; `sure`: no station can have heard
    different characters. `before`: ns at which its request before this one began; that of this one without one.
    """

    def __init__(
        self, asked: Asked, answers: Sequence[Answered], others: Sequence[Answered], over: int, sure: bool,
        before: int,
    ) -> None:  # fmt: skip
        self.asked = asked
        self.answers = answers
        self.others = others
        self.over = over
        self.sure = sure
        self.before = before
