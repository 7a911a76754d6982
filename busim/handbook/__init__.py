"""Pages shipped with the package, for sites without internet.

In: the name of a topic. Out: the text of its page. Open `pages.py` first.

Facts of the code (figures, fields, registers, the layout of a trace) are placeholders in double braces in a page. The
command that shows the page fills them in, so no page can drift from the code.
"""

from busim.handbook.pages import page, topics

__all__ = ["page", "topics"]
