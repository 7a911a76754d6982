"""Exchange: the time that one request with its reply takes, and what a master works out from it.

Public: `Terms` to `Exchange` by `exchange`, part by part (`PARTS`) in the cases `BEST`, `MEAN`, `WORST`; `packing`;
`larger`; `runs`, `time_out` and `drain`, in which masters and budget agree. Everything takes numbers or numpy arrays.
"""

from busim.exchange.asking import drain, runs, time_out
from busim.exchange.parts import BEST, MEAN, PARTS, WORST, Exchange, Numbers, Terms, exchange, larger, packing

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
    "packing",
    "runs",
    "time_out",
]
