"""The session: the only place that joins world, clock, ports and recorder.

Open `run.py` first.
"""

from busim.runtime.session.child_process import ChildProcess
from busim.runtime.session.compare import Comparison, Pair, Parting, compare, recorded_report
from busim.runtime.session.lateness import Lateness
from busim.runtime.session.live import Live
from busim.runtime.session.marks import parse_mark
from busim.runtime.session.recorder import Recorder
from busim.runtime.session.replay import Difference, Replay, plan_of, replay
from busim.runtime.session.report import CameraReport, FaultCount, LineReport, Report
from busim.runtime.session.run import Run
from busim.runtime.session.serial_world import SerialWorld, serial_world
from busim.runtime.session.virtual import Virtual

__all__ = [
    "CameraReport",
    "ChildProcess",
    "Comparison",
    "Difference",
    "FaultCount",
    "Lateness",
    "LineReport",
    "Live",
    "Pair",
    "Parting",
    "Recorder",
    "Replay",
    "Report",
    "Run",
    "SerialWorld",
    "Virtual",
    "compare",
    "parse_mark",
    "plan_of",
    "recorded_report",
    "replay",
    "serial_world",
]
