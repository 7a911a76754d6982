"""The hook of a session, as calls in process: intents in, beliefs out, whatever the clock.

A session that is made with `intents=True` tells its controller of operators' moves, those of the plan's panels and
those that a test gives, and hears what it believes:

    >>> import busim
    >>> plan = busim.read_plan("scenarios/climbing-hall/plan.yaml")
    >>> with busim.serial_world(plan, seed=1, intents=True) as hall:
    ...     hall.intend("boulder left", "iris", 700)
    ...     for intent in hall.intents():
    ...         print(intent.camera, intent.parameter, intent.value)
    ...     hall.believe("boulder left", "iris", 700)  # said before it was done
    ...     hall.believe_offline("rope left")
    boulder left iris 700
    >>> figures = hall.report().line("boulder line").figures
    >>> figures["intents"].value, figures["intents_left"].value, figures["belief_share"].value
    (1, 1, 0.0)

What is called here is checked at once, and raises UserError for a camera or parameter that the plan does not have; a
line that comes from outside (`hear`) never raises, and what is wrong with it is in the report.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable

from busim.foundation.errors import UserError
from busim.protocols.hook import Belief, Intent, checked, read_belief
from busim.runtime.session.directed import Directed
from busim.runtime.session.run import Run
from busim.simulator.world import Hook, World

_TOO_LONG = "a line without end: expected one JSON object of up to 4096 bytes on each line"


class Hooked(Directed):
    """A session with a hook. It supplies its run, and the way into its world."""

    def _entered(self) -> Run:
        """The run, which has begun. Raises UserError if it has not."""
        raise NotImplementedError

    def _world(self) -> World:
        return self._entered().world

    def _hook(self) -> Hook:
        hook = self._entered().world.hook
        if hook is None:
            raise UserError("this session has no hook", mend="make it with intents=True")
        return hook

    def on_intent(self, told: Callable[[Intent], None]) -> None:
        """Call `told` with each intent at its instant, within the simulation: it must not wait. The first listener has
        at once those made before.
        """
        hook = self._hook()
        while hook.untold:
            told(hook.untold.popleft())
        hook.told.append(told)

    def intend(self, camera: str, parameter: str, value: int) -> None:
        """An operator moves a control, now. Raises UserError for an unknown camera or parameter."""
        hook = self._hook()
        checked(Belief("value", camera, parameter, value), hook.known)
        self._enter(hook.intend, camera, parameter, value)

    def believe(self, camera: str, parameter: str, value: int) -> None:
        """The controller believes that the camera has this value. Raises UserError as `intend` does."""
        self._believe(Belief("value", camera, parameter, value))

    def believe_online(self, camera: str) -> None:
        """The controller believes that the camera is online. Raises UserError as `intend` does."""
        self._believe(Belief("online", camera))

    def believe_offline(self, camera: str) -> None:
        """The controller believes that the camera is offline. Raises UserError as `intend` does."""
        self._believe(Belief("offline", camera))

    def diagnose(self, text: str, camera: str = "") -> None:
        """The controller's diagnosis, of a camera or the whole installation. Raises UserError as `intend` does."""
        self._believe(Belief("diagnosis", camera, text=text))

    def hear(self, line: bytes | None) -> str:
        """A line of a controller, None for one without end. Returns "", or what is wrong with it."""
        hook = self._hook()
        try:
            if line is None:
                raise UserError(_TOO_LONG)
            belief = read_belief(line, hook.known)
        except UserError as error:
            self._enter(hook.refuse, str(error))
            return str(error)
        self._enter(hook.believe, belief)
        return ""

    def _believe(self, belief: Belief) -> None:
        hook = self._hook()
        self._enter(hook.believe, checked(belief, hook.known))


class IntentStream:
    """Intents as they come, for `async for`: those after its creation, in the first stream those before it too. It ends
    with the session.
    """

    def __init__(self) -> None:
        self._waiting: deque[Intent] = deque()
        self._wanted: asyncio.Future[None] | None = None
        self._over = False

    def tell(self, intent: Intent) -> None:
        """Add an intent."""
        self._waiting.append(intent)
        self._wake()

    def close(self) -> None:
        """No more will come; pending ones are still delivered."""
        self._over = True
        self._wake()

    def _wake(self) -> None:
        if self._wanted is not None and not self._wanted.done():
            self._wanted.set_result(None)

    def __aiter__(self) -> IntentStream:
        return self

    async def __anext__(self) -> Intent:
        while not self._waiting:
            if self._over:
                raise StopAsyncIteration
            self._wanted = asyncio.get_running_loop().create_future()
            await self._wanted
        return self._waiting.popleft()


class Awaited(Hooked):
    """A session with a hook and an event loop."""

    _streams: list[IntentStream] | None  # None when the session is over

    def intents(self) -> IntentStream:
        """Operators' moves from now on: `async for intent in session.intents()`. Each stream gets all of them, and the
        first one those before it too.
        """
        stream = IntentStream()
        self.on_intent(stream.tell)
        if self._streams is None:
            stream.close()
        else:
            self._streams.append(stream)
        return stream

    def _close_streams(self) -> None:
        for stream in self._streams or ():
            stream.close()
        self._streams = None
