"""As built: what a capture of a line shows, as a plan, or beside the plan that was made for it.

Public: `Shown` (what the source says of the line by itself) and `shown` (the same of a trace), `draft` (a plan from a
survey), `beside` (a survey beside a resolved line, as `Differs`).

Open `beside.py` first.
"""

from busim.onsite.as_built.beside import Differs, beside
from busim.onsite.as_built.draft import draft
from busim.onsite.as_built.shown import Shown, shown

__all__ = ["Differs", "Shown", "beside", "draft", "shown"]
