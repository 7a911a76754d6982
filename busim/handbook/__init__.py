"""Pages shipped with the package, since there is often no internet on site.

What can be had from the code (figures, fields, registers, the layout of a trace) stands in a page only as a
placeholder in double braces; the command that shows the page fills it in, so that no page can drift from the code.
"""

from busim.handbook.pages import page, topics

__all__ = ["page", "topics"]
