"""Times, rates and marks given as options: an error names the option and shows an example."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager


def length(text: str) -> int:
    """`--for`: ns, more than 0. Raises UserError."""
    from busim.foundation.errors import UserError
    from busim.foundation.units import parse_time

    example = "write for example --for 60s"
    with _named("--for", example):
        until = parse_time(text)
        if not until:
            raise UserError("a run of no length has no figures", found=repr(text), expected="more than 0", mend=example)
    return until


def rate(text: str) -> float:
    """`--need`: polls per second, more than 0 and no more than any bus carries. Raises UserError."""
    from busim.analysis.budget import MOST_NEEDED
    from busim.foundation.errors import UserError
    from busim.foundation.units import parse_rate

    example = "write for example --need 10Hz"
    with _named("--need", example):
        value = parse_rate(text)
        if not value:
            raise UserError("a need of 0 is always met", found=repr(text), expected="more than 0", mend=example)
        if value > MOST_NEEDED:
            raise UserError("no bus can be polled so often", found=repr(text), expected=f"at most {MOST_NEEDED:.0f} /s")
    return value


def marks(texts: Iterable[str], until: int) -> list[tuple[int, str]]:
    """`--mark`, each: (ns, text) in order of time, none after the end of the run. Raises UserError."""
    from busim.foundation.errors import UserError
    from busim.foundation.units import show_time
    from busim.runtime.session import parse_mark

    found = []
    for text in texts:
        with _named("--mark", "write for example --mark '12s doors open'"):
            at, words = parse_mark(text)
        if at > until:
            raise UserError(
                "a mark after the end of the run",
                field="--mark",
                found=repr(text[:60]),
                expected=f"at most {show_time(until)}, the length of the run",
                mend="set the mark earlier, or run for longer with --for",
            )
        found.append((at, words))
    return sorted(found)


def line(known: Sequence[str], name: str | None, option: str = "--line") -> None:
    """`--line` or another option: a line of the plan, or None for all. Raises UserError."""
    from busim.foundation.errors import UserError

    if name is not None and name not in known:
        raise UserError(
            "there is no line of this name", field=option, found=repr(name[:60]),
            expected=" or ".join(map(repr, known))[:300], mend="name one of these",
        )  # fmt: skip


def engine(name: str, scheduler: str | None) -> None:
    """`--engine` and `--scheduler`: who works. Raises UserError."""
    from busim.foundation.errors import UserError

    if name not in ("processes", "dask") or (name == "dask") != (scheduler is not None):
        raise UserError(
            "no engine", found=f"--engine {name}" + (f" --scheduler {scheduler}" if scheduler else ""),
            expected="processes, or dask with the address of its scheduler",
            mend="say --engine dask --scheduler tcp://HOST:8786, or neither",
        )  # fmt: skip


@contextmanager
def _named(option: str, example: str) -> Iterator[None]:
    from busim.foundation.errors import UserError

    try:
        yield
    except UserError as error:
        error.field, error.mend = option, example
        raise
