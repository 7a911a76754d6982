"""Sweep: a plan with some of its values varied, point by point.

Public: `parse_axis`, `points` and `vary` (what to vary, and the plan at one point).
"""

from busim.sweep.axes import KINDS, Axis, Kind, parse_axis, points, vary

__all__ = ["KINDS", "Axis", "Kind", "parse_axis", "points", "vary"]
