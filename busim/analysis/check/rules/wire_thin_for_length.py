"""A pair too thin for its length: the copper takes the level."""

from __future__ import annotations

from busim.analysis.check.figures import wire
from busim.analysis.check.rule import Rule, Spot, Spots
from busim.analysis.check.survey import Survey
from busim.physics.electric import THIN_LINE, THINNEST_LINE, loop, loop_loss_db

# What TI SLLA272 sec. 9 prints as -6 dB: 1200 m of AWG 22 into 120 ohm.
_MOST_LOSS = loop_loss_db(loop(22, 1200), 120)


def _find(survey: Survey) -> Spots:
    for wiring in survey.wirings:
        loss = loop_loss_db(wiring.loop_ohms, wiring.line.cable.impedance)
        if loss < _MOST_LOSS - 1e-9:
            yield Spot(
                wiring.longest_cable,
                f"the wires of line {wiring.line.name!r} are too thin for its length",
                f"{wiring.length:g} m, at its thinnest {wire(wiring.thinnest)} (planned), {wiring.loop_ohms:.0f} ohm "
                f"there and back at 20 C, {loss:.1f} dB into {wiring.line.cable.impedance:g} ohm (computed)",
                f"no more than {_MOST_LOSS:.1f} dB, the loss of 1200 m of AWG 22 (TI SLLA272 sec. 9); "
                f"{THIN_LINE.source} allows {THIN_LINE.value:g} m on AWG {THINNEST_LINE:g} or thicker at up to 9600 Bd",
            )


RULE = Rule(
    id="wire-thin-for-length",
    title="Wires too thin for the length of the line",
    severity="warning",
    area="cable",
    explanation="The copper and the terminator divide the level between them. If more than half is lost, little "
    "remains above a receiver's threshold. The first bad joint or noisy dimmer then takes the rest.",
    source="TI SLLA272 sec. 9 (-6 dB); MODBUS over Serial Line V1.02, 3.4.3 (1000 m on AWG 26 at 9600 Bd): both "
    "are shown",
    advice="Use a thicker pair, or put a converter nearer to the far cameras.",
    find=_find,
    hands_on=True,
    bad=(("boulder mats, after: 14 m", "boulder mats, after: «200 m, gauge: AWG 30"),),
    good=(("boulder mats, after: 14 m", "boulder mats, after: 200 m, gauge: AWG 22"),),
)
