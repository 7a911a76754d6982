"""The errors: one root, with mistakes of the user apart from bugs of ours.

A public function raises only the errors named in its docstring, and all of them descend from `BusimError`. `UserError`
is a mistake that a person can mend in a file, an argument or a connection. `Defect` is a bug of busim: it stops the
run, the trace so far is saved, and the message asks for a report.
"""

from __future__ import annotations

from busim.foundation.printable import printable

__all__ = ["BusimError", "Defect", "UserError"]


class BusimError(Exception):
    """The root of everything busim raises on purpose."""


class UserError(BusimError):
    """A mistake that the user can mend.

    Attributes: `what` (one sentence), and if known `file`, `line` and `column` (from 1), `field` (path of the field, as
    `lines[0].baud`), `found`, `expected` and `mend` (how to mend it).
    """

    def __init__(
        self,
        what: str,
        *,
        file: str | None = None,
        line: int | None = None,
        column: int | None = None,
        field: str | None = None,
        found: str | None = None,
        expected: str | None = None,
        mend: str | None = None,
    ) -> None:
        super().__init__(what)
        self.what = what
        self.file = file
        self.line = line
        self.column = column
        self.field = field
        self.found = found
        self.expected = expected
        self.mend = mend

    def __str__(self) -> str:
        where = ":".join(str(part) for part in (self.file, self.line, self.column) if part is not None)
        text = f"{where}: " if where else ""
        if self.field:
            text += f"{self.field}: "
        text += self.what
        if self.found is not None:
            text += f"; found {self.found}"
        if self.expected is not None:
            text += f"; expected {self.expected}"
        if self.mend is not None:
            text += f". To mend: {self.mend}"
        return printable(text)


def not_installed(package: str, extra: str, wanted: str, instead: str = "") -> UserError:
    """What to raise where `wanted` needs a package that only the extra `extra` of busim brings.

    `instead`: what else helps, appended to the command that installs it, as ", or export to csv".
    """
    return UserError(
        f"{package} is not installed", found=wanted, expected=f"the extra `{extra}`",
        mend=f"pip install 'busim[{extra}]'{instead}",
    )  # fmt: skip


class Defect(BusimError):
    """A bug of busim, not a mistake of the user's."""
