"""The session: the only place that joins world, clock, ports and recorder."""

from busim.session.marks import parse_mark
from busim.session.recorder import Recorder
from busim.session.report import CameraReport, LineReport, Report
from busim.session.run import Run

__all__ = ["CameraReport", "LineReport", "Recorder", "Report", "Run", "parse_mark"]
