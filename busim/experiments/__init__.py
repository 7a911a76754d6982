"""Many runs for their numbers: a measurement run, the budget verified, sweeps, and plots.

In: a plan and the values to vary. Out: tables of figures with intervals, and plots of them. Open `measurement_run.py`
first.
"""
