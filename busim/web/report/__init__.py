"""The report: one file that tells the story of a run, to be read, sent and printed.

In: the path of a trace, or what `busim rehearse --json` and `busim fuzz --json` wrote. Out: HTML with everything in it,
without script. Open `pages.py` first; `moments.py` says which stretches of a run are worth a picture.
"""

from busim.web.report.moments import MOST, Moment
from busim.web.report.pages import PAPERS, differences, is_report, picture_style, report
from busim.web.report.tables import shown
from busim.web.report.told import told_report

__all__ = ["MOST", "PAPERS", "Moment", "differences", "is_report", "picture_style", "report", "shown", "told_report"]
