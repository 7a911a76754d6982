"""Exchange: the time that one request with its reply takes, and what a master works out from it.

Public: `Terms` to `Exchange` by `exchange`, part by part (`PARTS`) in the cases `BEST`, `MEAN`, `WORST`; `packing`,
`last_of`; `larger`; `runs`, `time_out` and `drain`, in which masters and budget agree. Everything takes numbers or
numpy arrays.
"""

from busim.exchange.asking import drain, runs, time_out
from busim.exchange.packets import Numbers, last_of
from busim.exchange.parts import BEST, MEAN, PARTS, WORST, Exchange, Terms, exchange, larger, packing

__all__ = [
    "BEST",
    "MEAN",
    "PARTS",
    "WORST",
    "Exchange",
    "Numbers",
    "Terms",
    "drain",
    "exchange",
    "larger",
    "last_of",
    "packing",
    "runs",
    "time_out",
]
