"""Plots: budgets and sweeps as matplotlib figures. Needs the extra `plots`.

Public: `budget_bars`, `sweep_map` and `sweep_curve` return a matplotlib Figure; `to_svg` gives the same bytes each
time.
"""

from busim.plots.plots import budget_bars, sweep_curve, sweep_map, to_svg

__all__ = ["budget_bars", "sweep_curve", "sweep_map", "to_svg"]
