"""The record of a commissioning for the sheet: what was done and found, by whom, when, and whether it is signed."""

from __future__ import annotations

from collections.abc import Iterator

from busim.commissioning.sheet.model import AsDone, Table
from busim.commissioning.site_record import SiteRecord, StepEntry

_MOST = 12  # answers of a person that are printed for one step


def as_done(record: SiteRecord, digest: str) -> AsDone:
    """The record as printed. `digest`: of the plan that is printed."""
    begun = record.begun
    rows = tuple(_row(entry) for entry in record.steps)
    signed = record.signed
    signature = f"Signed: {signed.who}, {signed.at} (UTC): {signed.text}" if signed is not None else ""
    return AsDone(
        begun.line,
        f"Line {begun.line}, at {begun.target}, begun {begun.at} (UTC) by {begun.who}. Received on the real line.",
        Table("Steps done", ("", "step", "outcome", "found", "confirmed", "who", "when (UTC)"), rows),
        tuple(f"{note.at} {note.who}: {note.text}" for note in record.notes),
        signature,
        tuple(_warnings(record, digest)),
    )


def _row(entry: StepEntry) -> tuple[str, ...]:
    why = f" {entry.why}. To do: {entry.mend}." if entry.why else ""
    asked = [f"{question}: {answer}" for question, answer in entry.asked]
    more = [f"and {len(asked) - _MOST} more in the record"] if len(asked) > _MOST else []
    outcome = entry.outcome if entry.outcome == "ok" else entry.outcome.upper()
    return (
        str(entry.number), entry.what, outcome, entry.seen + ("." if why else "") + why,
        "; ".join(asked[:_MOST] + more), entry.who, entry.at.removesuffix("+00:00"),
    )  # fmt: skip


def _warnings(record: SiteRecord, digest: str) -> Iterator[str]:
    if record.signed is None:
        yield "This record is NOT signed: the commissioning was not ended, or was gone on with after the signature."
    elif not record.sound:
        yield "This record was CHANGED after it was signed: its lines do not match the signature. Do not rely on it."
    if record.begun.digest != digest:
        yield f"It is of another version of the plan, {record.begun.digest}; this print is of {digest}."
    open_ones = sum(entry.outcome != "ok" for entry in record.latest.values())
    if open_ones:
        yield f"Not ok in the end: {open_ones} of {len(record.latest)} steps."
    if record.begun.script or any("--yes" in answer for one in record.steps for _, answer in one.asked):
        yield "Done with --yes: nobody confirmed the steps by hand, the writes or the looks."
