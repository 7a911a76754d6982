"""A file changed in place: comments, order and all other values stay.

ruamel.yaml's round trip does it, on text that `parse` has accepted before: ruamel alone would expand an anchor bomb.
The indentation is that of the file.
"""

from __future__ import annotations

import io
import re
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap
from ruamel.yaml.util import load_yaml_guess_indent

from busim.foundation.errors import UserError
from busim.foundation.yaml_source.document import Declared, join
from busim.foundation.yaml_source.reading import parse
from busim.foundation.yaml_source.words import shown, suggestion

_STEP = re.compile(r"\.?([^.\[\]]+)|\[([0-9]{1,6})\]|\[([^\[\]]+)\]")


class Rewriting:
    """A declared file to be changed, one value after the other.

    A field is written as in messages (`cameras[2].bus_id`), or with the name of an entry of a list (`cameras[left
    mat].bus_id`).
    """

    def __init__(self, document: Declared) -> None:
        for problem in document.problems:
            raise problem
        self._document = document
        _, indent, sequence = load_yaml_guess_indent(document.text)
        self._yaml = YAML(typ="rt", pure=True)
        self._yaml.preserve_quotes = True
        self._yaml.width = 10**6
        if sequence:
            self._yaml.indent(mapping=2, sequence=sequence + 2, offset=sequence)
        else:
            self._yaml.indent(mapping=indent or 2, sequence=indent or 2, offset=0)
        self._tree: CommentedMap = self._yaml.load(document.text)

    def set(self, field: str, text: str) -> tuple[str, str | None]:
        """Give a field the value of a YAML text; a missing key is added to its mapping.

        Returns the path of the field with indices, and its old value (None: there was none). Raises UserError if the
        field's mapping or list is missing, or the text is no value.
        """
        value = parse(f"value: {text}").value["value"]
        holder, path, last = self._holder(field)
        key: Any = last
        if isinstance(holder, dict) and isinstance(last, str):
            path = join(path, last)
        else:
            path, key = self._found(holder, path, last)
        before = shown(holder[key]) if isinstance(holder, list) or key in holder else None
        holder[key] = self._yaml.load(f"value: {text}")["value"] if value is not None else None
        return path, before

    def drop(self, field: str) -> None:
        """Remove a key from its mapping, if present. Raises UserError if the mapping is missing."""
        holder, _, last = self._holder(field)
        if isinstance(holder, dict):
            holder.pop(last, None)

    def text(self) -> str:
        """The file as it is now."""
        stream = io.StringIO()
        self._yaml.dump(self._tree, stream)
        text = stream.getvalue()
        return text.replace("\n", "\r\n") if "\r\n" in self._document.text else text

    def _holder(self, field: str) -> tuple[Any, str, str | int]:
        """The mapping or list that holds a field, its path, and the last step to the field."""
        steps = self._steps(field)
        holder: Any = self._tree
        path = ""
        for step in steps[:-1]:
            path, key = self._found(holder, path, step)
            holder = holder[key]
        return holder, path, steps[-1]

    def _steps(self, field: str) -> list[str | int]:
        steps: list[str | int] = []
        at = 0
        while at < len(field):
            match = _STEP.match(field, at)
            if match is None or (match[0].startswith(".") and at == 0):
                steps = []
                break
            steps.append(int(match[2]) if match[2] else match[1] or match[3])
            at = match.end()
        if not steps:
            raise self._astray(field, "not the path of a field", "keys, with entries of lists in brackets")
        return steps

    def _found(self, holder: Any, path: str, step: str | int) -> tuple[str, Any]:
        """Path and key of a step that exists."""
        if isinstance(holder, dict) and step in holder:
            return join(path, step), step
        if isinstance(holder, list):
            names = {entry.get("name"): index for index, entry in enumerate(holder) if isinstance(entry, dict)}
            index = names.get(step) if isinstance(step, str) else step
            if isinstance(index, int) and index < len(holder):
                return join(path, index), index
            expected = f"0 to {len(holder) - 1} in brackets, or a name"
            written = f"{path}.{step}" if isinstance(step, str) and step.isdigit() else f"{path}[{step}]"
            raise self._astray(written, "there is no such entry", expected, names, step)
        raise self._astray(join(path, step), "there is no such field", "a field of the file", holder, step)

    def _astray(self, field: str, what: str, expected: str, known: Any = None, step: str | int = "") -> UserError:
        words = [word for word in known if isinstance(word, str)] if isinstance(known, dict) else []
        return UserError(
            what,
            file=self._document.path or None,
            found=repr(field[:60]),
            expected=expected,
            mend=suggestion(str(step), words, "write for example cameras[2].bus_id or cameras[left mat].bus_id"),
        )
