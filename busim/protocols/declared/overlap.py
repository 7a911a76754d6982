"""Whether two layouts can be the same bytes, and the bytes that a layout can hold.

A layout is drawn out into positions, each with its possible byte values and whether it may be missing. Two layouts meet
if a walk through both, position by position, reaches both ends. The sets are slightly wider than the bytes that the
encodings write: the limits of a field narrow its bytes up to the first that differs between them, and not at all if its
size varies. So layouts that only the range of a number distinguishes may count as the same.
"""

from __future__ import annotations

from busim.protocols.declared.layouts import Layout

_MOST_DRAWN = 4  # values of a repeated field of varying size that are drawn out
_MOST_STATES = 200_000

Position = tuple[int, bool]


def positions(layout: Layout, n: int) -> list[Position]:
    """The content up to the check, with `n` values."""
    drawn: list[Position] = []
    for what, part in layout.pieces(n):
        if what == "check":
            break
        if isinstance(part, bytes):
            drawn += [(1 << byte, False) for byte in part]
            continue
        encoding = layout.encoding(part)
        if (what == "size" or (what == "count" and (layout.repeats or layout.single_values))) and n <= encoding.bounds[
            1
        ]:
            number = n if what == "count" else layout.value_bytes(n)
            try:
                drawn += [(1 << byte, False) for byte in encoding.encode(number)]
                continue
            except ValueError:
                pass
        least, _ = encoding.widths
        drawn += [(bits, index >= least) for index, bits in enumerate(encoding.alphabet)]
    return drawn


def meeting(one: list[Position], other: list[Position], *, begins: bool = False) -> bytes | None:
    """Bytes that both can have, None without any; `begins`: the other may also only begin with them."""
    start = (0, 0)
    came: dict[tuple[int, int], tuple[tuple[int, int], bytes]] = {start: (start, b"")}
    waiting = [start]
    while waiting and len(came) < _MOST_STATES:
        state = waiting.pop()
        i, j = state
        if i == len(one) and (begins or j == len(other)):
            return _way(came, state)
        steps = []
        if i < len(one) and one[i][1]:
            steps.append(((i + 1, j), b""))
        if j < len(other) and other[j][1]:
            steps.append(((i, j + 1), b""))
        if i < len(one) and j < len(other) and (common := one[i][0] & other[j][0]):
            steps.append(((i + 1, j + 1), bytes(((common & -common).bit_length() - 1,))))
        for step, byte in steps:
            if step not in came:
                came[step] = (state, byte)
                waiting.append(step)
    return None


def _way(came: dict[tuple[int, int], tuple[tuple[int, int], bytes]], state: tuple[int, int]) -> bytes:
    pieces = []
    while state != (0, 0):
        state, byte = came[state]
        pieces.append(byte)
    return b"".join(reversed(pieces))


def counts(layout: Layout, low: int, high: int) -> range:
    """The numbers of values with which to draw out a layout."""
    if not layout.repeats:
        return range(high, high + 1)
    if layout.fixed(high):
        return range(low, high + 1)
    return range(low, min(high, low + _MOST_DRAWN) + 1)


def same_bytes(one: Layout, ones: tuple[int, int], other: Layout, others: tuple[int, int]) -> bytes | None:
    """Bytes up to the check that both layouts can have, None without any. `ones`, `others`: fewest and most values."""
    if _begin_apart(one, other):
        return None
    drawn = [(layout.size(n), positions(layout, n)) for layout, low in ((other, others),) for n in counts(layout, *low)]
    for n in counts(one, *ones):
        least, most = one.size(n)
        mine = None
        for (low, high), theirs in drawn:
            if low <= most and least <= high:
                mine = positions(one, n) if mine is None else mine
                met = meeting(mine, theirs)
                if met is not None:
                    return met
    return None


def beginning(one: Layout, ones: tuple[int, int], other: Layout, others: tuple[int, int]) -> bytes | None:
    """Bytes that are all of one layout and may begin a longer frame of the other, None without any. `ones`, `others`:
    fewest and most values. Neither has a check.
    """
    if _begin_apart(one, other):
        return None
    for n in counts(one, *ones):
        for m in counts(other, *others):
            if one.size(n)[0] < other.size(m)[1]:
                met = meeting(positions(one, n), positions(other, m), begins=True)
                if met is not None:
                    return met
    return None


def _begin_apart(one: Layout, other: Layout) -> bool:
    """Whether the first byte of their messages differs, as in nearly all layouts."""
    for (left, missing), (right, lacking) in zip(_head(one), _head(other), strict=False):
        if missing or lacking:
            return False
        if not left & right:
            return True
    return False


def _head(layout: Layout) -> list[Position]:
    """The content up to its first repeated value, which does not depend on their number."""
    drawn: list[Position] = []
    for part in layout.parts:
        if isinstance(part, bytes):
            drawn += [(1 << byte, False) for byte in part]
        elif part == "check":
            break
        else:
            encoding = layout.encoding(part)
            drawn += [(bits, index >= encoding.widths[0]) for index, bits in enumerate(encoding.alphabet)]
            if part == "values":
                break
    return drawn


def letters(layout: Layout) -> int:
    """Every byte value that the content may hold, as a set of bits."""
    found = 0
    for part in layout.parts:
        if isinstance(part, bytes):
            for byte in part:
                found |= 1 << byte
        else:
            for bits in layout.encoding(part).alphabet:
                found |= bits
    for byte in layout.declaration.between if layout.repeats else b"":
        found |= 1 << byte
    return found
