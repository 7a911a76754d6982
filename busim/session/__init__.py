"""The session: the only place that joins world, clock, ports and recorder."""

from busim.session.beside import Beside
from busim.session.compare import Comparison, Pair, Parting, compare, recorded_report
from busim.session.engines import cluster, processes, simulated_sweep
from busim.session.lateness import Lateness
from busim.session.live import Live
from busim.session.marks import parse_mark
from busim.session.recorder import Recorder
from busim.session.replay import Difference, Replay, replay
from busim.session.report import CameraReport, LineReport, Report
from busim.session.run import Run
from busim.session.serial_world import SerialWorld, serial_world
from busim.session.virtual import Virtual

__all__ = [
    "Beside",
    "CameraReport",
    "Comparison",
    "Difference",
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
    "cluster",
    "compare",
    "parse_mark",
    "processes",
    "recorded_report",
    "replay",
    "serial_world",
    "simulated_sweep",
]
