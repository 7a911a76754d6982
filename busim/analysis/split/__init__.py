"""Split: the cameras of each converter and their order, with the fewest converters and then the fewest metres.

Public: `split` (a plan and `Wishes` to a `Split` of plain data), `More` (converters that may be added), `written` (the
new plan as text, the comments of the old one kept).

Open `split.py` first.
"""

from busim.analysis.split.result import SCHEMA, LeftOver, Split, SplitLine, Stop
from busim.analysis.split.split import split
from busim.analysis.split.wishes import More, Wishes
from busim.analysis.split.writing import written

__all__ = ["SCHEMA", "LeftOver", "More", "Split", "SplitLine", "Stop", "Wishes", "split", "written"]
