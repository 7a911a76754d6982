"""HTML and SVG with automatic escaping: all text that is not `Markup` is escaped, so no plan can inject markup.

The output is also XML (closed elements, quoted attributes), which a test checks with a strict parser.
"""

from __future__ import annotations

import re
from functools import lru_cache

from markupsafe import Markup, escape

# XML forbids control characters, UTF-8 forbids lone surrogates, and direction marks could reverse the text of a label.
_NO_TEXT = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\u202a-\u202e\u2066-\u2069\ufffe\uffff]")


def words(text: str) -> Markup:
    """`text` escaped for content and attributes; `Markup` stays unchanged."""
    return text if isinstance(text, Markup) else _escaped(text)


@lru_cache(maxsize=2048)  # a page says the same few names, classes and kinds over and over
def _escaped(text: str) -> Markup:
    return escape(_NO_TEXT.sub("\ufffd", text))


def el(tag: str, *children: str, **attributes: object) -> Markup:
    """An element; children that are not markup are escaped. In names a trailing `_` is dropped, others become `-`."""
    said = "".join([_attribute(name, str(value)) for name, value in attributes.items() if value is not None])
    return Markup(f"<{tag}{said}>{''.join([words(one) for one in children])}</{tag}>")


@lru_cache(maxsize=2048)
def _attribute(name: str, value: str) -> str:
    return f' {name.rstrip("_").replace("_", "-")}="{words(value)}"'


def void(tag: str, **attributes: object) -> Markup:
    """An element without content, closed as in XML."""
    return Markup(str(el(tag, **attributes)).replace(f"></{tag}>", " />"))


def css_text(text: str) -> str:
    """A CSS string. Characters other than ASCII letters, digits and spaces become escapes."""
    clean = _NO_TEXT.sub("\ufffd", text)
    safe = (one if one.isascii() and (one.isalnum() or one == " ") else f"\\{ord(one):x} " for one in clean)
    return f'"{"".join(safe)}"'
