"""Exchange: the time that one request with its reply takes, and what a master works out from it.

Public: `exchange` to an `Exchange`, part by part (`PARTS`) in the cases `BEST`, `MEAN`, `WORST`; `packing`,
`last_of`; `larger`; `runs`, `time_out` and `drain`, in which masters and budget agree. Everything takes numbers or
numpy arrays.
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
