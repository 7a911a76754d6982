"""Plots: budgets and sweeps as matplotlib figures. Needs the extra `plots`.

Public: `budget_bars`, `sweep_map` and `sweep_curve` return a matplotlib Figure; `to_svg` gives the same bytes each
time; `two_axes` refuses a sweep without a map, before it is computed.
"""

from busim.experiments.plots.plots import budget_bars, sweep_curve, sweep_map, to_svg, two_axes

__all__ = ["budget_bars", "sweep_curve", "sweep_map", "to_svg", "two_axes"]
