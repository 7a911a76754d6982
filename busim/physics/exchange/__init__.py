"""Exchange: the time of one request with its reply, and the times that a master derives from it.

Public: `exchange` to an `Exchange`, part by part (`PARTS`) in the estimates `BEST`, `MEAN`, `WORST`; `packing`,
`last_of`; `larger`; `runs`, `time_out` and `drain`, which masters and budget share. All functions take numbers or
numpy arrays.

Open `parts.py` first.
"""

from busim.physics.exchange.asking import drain, runs, time_out
from busim.physics.exchange.packets import Numbers, last_of
from busim.physics.exchange.parts import BEST, MEAN, PARTS, WORST, Exchange, exchange, larger, packing

__all__ = [
    "BEST",
    "MEAN",
    "PARTS",
    "WORST",
    "Exchange",
    "Numbers",
    "drain",
    "exchange",
    "larger",
    "last_of",
    "packing",
    "runs",
    "time_out",
]
