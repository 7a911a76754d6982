"""The emulated site, with the causes that only the emulator knows."""

from __future__ import annotations

from busim.commissioning.rehearse.emulated_state import EmulatedState
from busim.commissioning.rehearse.reasons import why
from busim.commissioning.rehearse.result import FAILED, FOREIGN, NOISE, OK, Outcome, Reason
from busim.commissioning.rehearse.steps import Step
from busim.foundation.units import show_time
from busim.simulator.world import Heard


class EmulatedSite(EmulatedState):
    """The site of a rehearsal in simulated time."""

    def why(self, camera: str, bus_id: int, heard: Heard) -> Reason | None:
        return why(self, camera, bus_id, heard)

    def listen(self, step: Step) -> Outcome:
        heard = self.tools[step.line].listen(step.length)
        if heard.silent:
            why_so_long = f" ({step.text})" if step.text else ""
            return Outcome(OK, f"nothing in {show_time(step.length)}: no master on this line{why_so_long}")
        said = f"{len(heard.data)} bytes in {show_time(step.length)}, valid requests: {len(heard.requests)}"
        if not heard.beneath.who:
            return Outcome(FAILED, said, "", Reason(
                NOISE, "no station drove the pair: noise made these characters",
                "do not transmit before the line is quiet: a laptop cannot tell noise from a master at another baud; "
                "check bias, terminators, screens and other cables along the run",
            ))  # fmt: skip
        who = ", ".join(map(repr, heard.beneath.who))
        return Outcome(FAILED, said, "", Reason(
            FOREIGN, f"this line already has traffic: {who} drove the pair",
            "do not transmit; find the master that polls this line and stop it first",
        ))  # fmt: skip
