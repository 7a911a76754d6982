"""Whether bytes determine the message of a declaration: sizes, marks, and no two alike."""

from __future__ import annotations

from itertools import combinations

from busim.foundation.schema import Notebook
from busim.protocols.declared.declaration import Declaration
from busim.protocols.declared.encodings import bits_of
from busim.protocols.declared.layouts import Layout, layouts, values_asked
from busim.protocols.declared.overlap import letters, same_bytes
from busim.protocols.declared.sums import width_of


def between_layouts(declaration: Declaration, notes: Notebook) -> None:
    """Note messages that could not be read, cut or distinguished."""
    _Layouts(declaration, notes).check()


class _Layouts:
    def __init__(self, declaration: Declaration, notes: Notebook) -> None:
        self._declaration = declaration
        self._notes = notes
        self._layouts = layouts(declaration)
        self._sizes = {
            one.number: values_asked(one, self._layouts[one.number, "request"], self._layouts[one.number, "reply"])
            for one in declaration.operations
        }

    def check(self) -> None:
        self._one_size()
        self._ids()
        for (number, direction), layout in self._layouts.items():
            if direction != "refusal" or number == 0 or (layout.operation and layout.operation.refusal is not None):
                self._readable(layout)
                self._fits(layout)
        if not self._notes.found:
            self._marks()
            self._alike()

    def _place(self, layout: Layout) -> str:
        """The field of the file with the layout's message."""
        if layout.operation is None or (layout.direction == "refusal" and layout.operation.refusal is None):
            return "refusal"
        return f"{self._notes.below('operations', layout.operation.name)}.{layout.direction}"

    def _counts(self, layout: Layout) -> tuple[int, int]:
        return self._sizes[layout.operation.number] if layout.operation else (0, 0)

    # -- fields --------------------------------------------------------------------------------------------

    def _one_size(self) -> None:
        """Fields needed to find or count others must have one size."""
        declaration, notes = self._declaration, self._notes
        frame = declaration.frame
        needed = {"check", "length", "tag"} & set(frame)
        check = declaration.check
        if check is not None and check.start not in ("mark", "frame"):
            needed |= {part for part in frame[: frame.index(check.start)] if isinstance(part, str)}
            if "message" in needed:
                notes.note(
                    "check.start", "bad-check", "a check that begins behind {message}", expected="a field before it"
                )
        if declaration.framing.kind == "length":
            needed |= {part for part in frame[: frame.index("length")] if isinstance(part, str)}
            if "message" in needed:
                notes.note("frame", "bad-frame", "{length} behind {message}", expected="{length} before what it counts")
            if declaration.framing.counts == "message":
                needed |= {part for part in frame if isinstance(part, str)}
        for name in sorted(needed - {"message"}):
            least, most = declaration.fields[name].widths
            if least != most:
                notes.note(
                    f"fields.{name}",
                    "varying-size",
                    f"{{{name}}} must always have as many bytes",
                    found=f"{least} to {most} bytes",
                    expected="one size",
                    mend="drop `least_digits`, or use words of one length",
                )
        if check is not None:
            self._holds_check()

    def _holds_check(self) -> None:
        check = self._declaration.check
        assert check is not None
        encoding = self._declaration.fields["check"]
        most = 2 ** width_of(check.kind) - 1
        if encoding.kind in ("signed", "words") or encoding.bounds[1] < most:
            self._notes.note(
                "fields.check",
                "out-of-bounds",
                f"a check of {width_of(check.kind)} bits does not fit",
                found=f"up to {encoding.bounds[1]}",
                expected=f"a field that holds 0 to {most}",
            )

    def _ids(self) -> None:
        declaration = self._declaration
        low, high = declaration.fields["address"].bounds
        named = [("address.first", declaration.addresses[0]), ("address.last", declaration.addresses[1])]
        if declaration.groups:
            named += [("address.groups", declaration.groups[0]), ("address.groups", declaration.groups[1])]
        if declaration.broadcast is not None and declaration.broadcast not in declaration.fields["address"].special:
            named.append(("address.broadcast", declaration.broadcast))
        for field, number in named:
            if not low <= number <= high:
                self._notes.note(
                    field,
                    "out-of-bounds",
                    "an ID that {address} cannot hold",
                    found=str(number),
                    expected=f"{low} to {high}, as `fields.address` is written",
                )

    # -- one layout ----------------------------------------------------------------------------------------

    def _readable(self, layout: Layout) -> None:
        """The end of a field of varying size must be visible."""
        _, n = self._counts(layout)
        varies = not layout.fixed(max(n, 1))
        if not varies and not (layout.repeats and self._declaration.framing.kind == "silence"):
            pass
        elif varies and self._declaration.framing.kind not in ("marks", "length"):
            self._wrong(
                layout, "a message of varying size", "one size for each number of values, with this framing", None
            )
            return
        for index, part in enumerate(layout.parts):
            if isinstance(part, str):
                self._ends_plainly(layout, index, part)

    def _ends_plainly(self, layout: Layout, index: int, part: str) -> None:
        encoding = layout.encoding(part)
        least, most = encoding.widths
        letters_of = 0
        for bits in encoding.alphabet:
            letters_of |= bits
        if part == "values" and least != most:
            between = layout.declaration.between
            if not between or letters_of >> between[0] & 1:
                self._wrong(layout, "where one of {values} ends cannot be seen", "`between` in `fields.value`", None)
                return
        many = part == "values" and not layout.fixed(1)
        if least == most and not many:
            return
        behind = layout.parts[index + 1] if index + 1 < len(layout.parts) else b""
        if part == "values":
            letters_of |= bits_of(layout.declaration.between)
        if not isinstance(behind, bytes) or (behind and letters_of >> behind[0] & 1):
            shown = "{" + behind + "}" if isinstance(behind, str) else repr(behind)
            self._wrong(layout, f"where {{{part}}} ends cannot be seen", "bytes behind it that it cannot hold", shown)

    def _fits(self, layout: Layout) -> None:
        framing = self._declaration.framing
        _, n = self._counts(layout)
        least, most = layout.size(n)
        least_of_all, _ = layout.size(self._counts(layout)[0])
        times = 2 if framing.hex or framing.escape else 1
        whole = len(framing.start) + most * times + len(framing.end)
        if framing.kind == "fixed" and (least_of_all, most) != (framing.length, framing.length):
            self._wrong(layout, "not a frame of the fixed length", f"{framing.length} bytes", f"{least} bytes")
        elif whole > framing.longest:
            self._wrong(
                layout, "a frame longer than `longest`", f"at most {framing.longest} bytes", f"up to {whole} bytes"
            )
        if "length" in layout.parts and layout.counted(n, most) > layout.encoding("length").bounds[1]:
            self._wrong(
                layout, "its length does not fit into {length}", "a wider field, or `most` smaller", f"{most} bytes"
            )
        for name, number in (("count", n), ("size", layout.value_bytes(n))):
            if (
                name in layout.parts
                and not layout.encoding(name).bounds[0] <= number <= layout.encoding(name).bounds[1]
            ):
                self._wrong(
                    layout, f"{{{name}}} cannot hold {number}", f"a wider field {name}, or `most` smaller", str(number)
                )
        if "size" in layout.parts and layout.encoding("value").widths[0] != layout.encoding("value").widths[1]:
            self._wrong(layout, "{size} of values of varying size", "values of one size", None)

    def _wrong(self, layout: Layout, what: str, expected: str, found: str | None) -> None:
        self._notes.note(self._place(layout), "bad-layout", what, expected=expected, found=found)

    # -- all of them ---------------------------------------------------------------------------------------

    def _marks(self) -> None:
        framing = self._declaration.framing
        if framing.kind != "marks":
            return
        for name in ("start", "end"):
            mark = getattr(framing, name)
            if framing.hex and mark and mark[:1] in b"0123456789ABCDEF":
                self._notes.note(f"framing.{name}", "bad-marks", "a mark that is a hex digit", expected="another byte")
            if framing.hex or framing.escape or not mark:
                continue
            for layout in self._layouts.values():
                if letters(layout) >> mark[0] & 1:
                    self._wrong(
                        layout,
                        f"it may hold the {name} mark, and where frames {name} could not be seen",
                        "`escape` in `framing`, or fields that cannot hold the first byte of a mark",
                        f"{mark[0]:02X}",
                    )
                    break

    def _alike(self) -> None:
        """No two requests, and no reply and refusal to one request, can be the same bytes."""
        requests = [layout for (_, direction), layout in self._layouts.items() if direction == "request"]
        pairs = list(combinations(requests, 2))
        for number in self._sizes:
            if (number, "refusal") in self._layouts:
                pairs.append((self._layouts[number, "reply"], self._layouts[number, "refusal"]))
        for one, other in pairs:
            met = same_bytes(one, self._counts(one), other, self._counts(other))
            if met is not None:
                assert one.operation is not None
                named = "the reply to" if one.direction == "reply" else ""
                self._notes.note(
                    self._place(other),
                    "alike",
                    f"it can be taken for {named or 'the request of'} `{one.operation.name}`",
                    found=f"{met.hex(' ').upper()}, which is both",
                    expected="bytes that tell one from the other",
                )
