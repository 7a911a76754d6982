"""Cases for controllers: what happens to an installation, run, judged.

In: a plan, a case (faults and operators' moves), a master. Out: verdicts. Open `pure.py` first (one case for a master
that is a pure object), then `case.py` and `injected.py`.
"""

from busim.testing.fuzzing.case import Action, Case, FaultEvent, case_of
from busim.testing.fuzzing.pure import Result, run_pure

__all__ = ["Action", "Case", "FaultEvent", "Result", "case_of", "run_pure"]
