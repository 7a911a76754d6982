"""Electric: effects of a cable on signals and supplies, as pure functions of numbers, without a plan.

Lengths are metres, other units V, A, W and ohm unless a docstring names another. Every formula and figure names its
source. Where two published figures differ, both are here (`Published`), never their average. Public functions raise
UserError for a number without a meaning (a resistance below 0), and nothing else.

Caution: the results find mistakes on paper. Fuses, cable sizes and mains are decided by the local code and a
licensed electrician.

Open `pair.py` first.
"""

from typing import TYPE_CHECKING

from busim.foundation.first_use import by_name, fetched
from busim.physics.electric.bounds import Published
from busim.physics.electric.copper import WARM, Conductor, area, copper, diameter, fuse_limit, loop
from busim.physics.electric.pair import (
    BESIDE_BIAS,
    CAUTIOUS,
    IMPEDANCE,
    LONGEST,
    MODBUS_TERMINATOR,
    MOST_UNIT_LOADS,
    TERMINATORS,
    THIN_LINE,
    THINNEST_LINE,
    THRESHOLD,
    UNIT_LOAD_OHMS,
    WIDELY_QUOTED,
    derivation_limit,
    devices,
    longest,
    loop_loss_db,
    propagation_ns,
    receiver_reads,
    reflection,
    stub_limit,
)

if TYPE_CHECKING:
    from busim.physics.electric.bias import (
        LEAST_DRIVER_LOAD,
        Bias,
        Hung,
        bias_divider,
        bias_resistor,
        driver_load,
        undriven,
    )
    from busim.physics.electric.feeding import Chain, Collapse, Drop, branches, chain, drop, most_power
    from busim.physics.electric.limits import BRANCH_DROP, POE, WHOLE_DROP, PoeClass, drop_advice, poe_class
    from busim.physics.electric.opened import Loss, Stand, lost
else:
    _MODULES = {  # fetched at first use: the simulator and the budget need none of them
        "bias": "LEAST_DRIVER_LOAD Bias Hung bias_divider bias_resistor driver_load undriven",
        "feeding": "Chain Collapse Drop branches chain drop most_power",
        "limits": "BRANCH_DROP POE WHOLE_DROP PoeClass drop_advice poe_class",
        "opened": "Loss Stand lost",
    }
    __getattr__ = fetched(__name__, by_name(_MODULES))

__all__ = [
    "BESIDE_BIAS",
    "BRANCH_DROP",
    "CAUTIOUS",
    "IMPEDANCE",
    "LEAST_DRIVER_LOAD",
    "LONGEST",
    "MODBUS_TERMINATOR",
    "MOST_UNIT_LOADS",
    "POE",
    "TERMINATORS",
    "THINNEST_LINE",
    "THIN_LINE",
    "THRESHOLD",
    "UNIT_LOAD_OHMS",
    "WARM",
    "WHOLE_DROP",
    "WIDELY_QUOTED",
    "Bias",
    "Chain",
    "Collapse",
    "Conductor",
    "Drop",
    "Hung",
    "Loss",
    "PoeClass",
    "Published",
    "Stand",
    "area",
    "bias_divider",
    "bias_resistor",
    "branches",
    "chain",
    "copper",
    "derivation_limit",
    "devices",
    "diameter",
    "driver_load",
    "drop",
    "drop_advice",
    "fuse_limit",
    "longest",
    "loop",
    "loop_loss_db",
    "lost",
    "most_power",
    "poe_class",
    "propagation_ns",
    "receiver_reads",
    "reflection",
    "stub_limit",
    "undriven",
]
