"""Pages shipped with the package, for sites without internet.

Facts of the code (figures, fields, registers, the layout of a trace) are placeholders in double braces in a page. The
command that shows the page fills them in, so no page can drift from the code.

Open `pages.py` first.
"""

from busim.handbook.pages import page, topics

__all__ = ["page", "topics"]
