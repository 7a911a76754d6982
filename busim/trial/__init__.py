"""A trial: a plan run in fast time for its numbers alone, without a trace, from when the line has settled.

Public: `trial`, and `LineTrial`, what one master on one line did. Verification and simulated sweeps stand on it.
"""

from busim.trial.trial import LineTrial, trial

__all__ = ["LineTrial", "trial"]
