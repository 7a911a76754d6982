"""The trace file: an SQLite database, and the content of each table.

Plain rows and no packed blobs of records, so that a person with a database browser can query a rehearsal years later.
Every record kind has its table, built from `TABLES`, with the row number `n` in the order of writing: replay and the
fingerprint need the order within one kind only. An index on the instant makes a window of an hour-long trace a matter
of milliseconds, and the summary rows let hours open at once. The tables are STRICT: a value of a wrong type must stop
the run that made it, not the reader a week later.

`describe()` renders all of this as text.
"""

from __future__ import annotations

import textwrap

from busim.recording.trace.records import (
    BELIEF,
    BURST,
    CHANGE,
    EFFECT,
    EXCHANGE,
    FRAME,
    HEARD,
    INPUT,
    INTENT,
    MARK,
    PULSE,
    TABLES,
    TYPES,
)

APPLICATION_ID = 0x62757369  # at byte 68 of the file: distinguishes a trace from any other database
SUMMARY_NS = 100_000_000
REAL = "real"  # the clock of a trace that was recorded at a real line

# The column with the instant of a record, by which a window of time is cut.
INSTANTS = {
    BURST: "start",
    HEARD: "first",
    FRAME: "at",
    EXCHANGE: "ended",
    INPUT: "at",
    CHANGE: "at",
    EFFECT: "at",
    MARK: "at",
    INTENT: "at",
    BELIEF: "at",
    PULSE: "start",
}

HEAD = {
    "schema": "version of this layout, an integer",
    "busim": "version of busim that wrote the file",
    "clock": "fast, virtual or wall; real: recorded at a real line, so there is no seed and nothing to replay",
    "seed": "seed of every random number of the run",
    "epoch": "UTC of simulated time 0, ns since 1970",
    "plan_path": "path of the plan",
    "plan_text": "text of the plan",
    "plan_files": "JSON: name to text of the files beside the plan that it names, as protocols",
    "defaults": "JSON: values that the plan left open, as filled in",
    "cables": "JSON: line number to the layout of its pair: contention, coin_key (of contention random), and its "
    "stations in order, each [number, ns from the end of the line, echo, fail_safe, inverted]",
    "speed": "simulated seconds per second of wall time",
    "played": "JSON: names of the masters that busim played, null for all",
    "distinct": "1 if cameras began with values of their own, drawn from the seed; else 0",
    "hook": "1 if a controller received intents, also from panels of masters that were not played; else 0",
    "ended_at": "simulated time of the end, ns; missing during the run",
    "complete": "1 after an orderly end; 0 during the run, or after a kill",
}

# table -> (columns with their SQL types, key, meaning)
BESIDE: dict[str, tuple[tuple[str, ...], str, str]] = {
    "head": (("key TEXT", "value ANY"), "key", "the run; keys below"),
    "name": (
        ("row INTEGER", "kind TEXT", "name TEXT", "parent INTEGER"),
        "row",
        "the numbers of lines, stations, masters, cameras and ports; parent: the number of its owner, 0 for none",
    ),
    "setting": (
        (
            "row INTEGER",
            "baud TEXT",
            "format TEXT",
            "ppm REAL",
            "inverted INTEGER",
            "lead INTEGER",
            "hold INTEGER",
        ),
        "row",
        "the setting of a sender. baud: a rational (38400 or 115200/3); format: as 8E1; ppm: error of its clock in "
        "parts per million; inverted: 1 if its pair is swapped; lead: ns from driver enable to the first start bit, "
        "negative if the driver is late; hold: ns from the last stop bit to release, negative if it is early",
    ),
    "summary": (
        (
            "line INTEGER",
            "start INTEGER",
            "bursts INTEGER",
            "exchanges INTEGER",
            "wire_ns INTEGER",
            "inside_ns INTEGER",
            "time_outs INTEGER",
            "damaged INTEGER",
        ),
        "line, start",
        "sums over 100 ms of one line: bursts that began; exchanges that ended, and those of them that timed out or "
        "were damaged; ns in which the wire carried bits (once, for any number of drivers); ns inside exchanges "
        "(added over the masters). An empty 100 ms has no row",
    ),
    "lateness": (
        ("at INTEGER", "ns INTEGER"),
        "",
        "lateness of the wall clock at the instant `at`; not part of the fingerprint",
    ),
}


def statements() -> list[str]:
    """The SQL that makes an empty trace."""
    made = []
    for table, (columns, key, _) in BESIDE.items():
        body = ", ".join(column + " NOT NULL" for column in columns)
        made.append(f"CREATE TABLE {table} ({body}{f', PRIMARY KEY ({key})' if key else ''}) STRICT")
    for kind, (table, names, _) in TABLES.items():
        body = ", ".join(f'"{name}" {TYPES.get(name, "INTEGER")} NOT NULL' for name in names)
        made.append(f"CREATE TABLE {table} (n INTEGER PRIMARY KEY, {body}) STRICT")
        made.append(f'CREATE INDEX {table}_at ON {table} ("{INSTANTS[kind]}")')
    return made


def insertion(kind: int) -> str:
    """The SQL that inserts a record. The record's first element, its kind, is parameter 1 and left out."""
    table, names, _ = TABLES[kind]
    columns = ", ".join(f'"{name}"' for name in names)
    return f"INSERT INTO {table} ({columns}) VALUES ({', '.join(f'?{n}' for n in range(2, len(names) + 2))})"


def describe() -> str:
    """The schema as text: each table, its content, its columns."""
    parts = ["A trace is an SQLite database. Times are integer ns of simulated time.", ""]
    for table, (columns, _, what) in BESIDE.items():
        parts += _paragraph(table, [column.split()[0] for column in columns], what)
    parts += _paragraph("keys of head", [], "")
    parts += [f"    {key:<10} {meaning}" for key, meaning in HEAD.items()] + [""]
    for table, names, what in TABLES.values():
        parts += _paragraph(table, ["n", *names], what)
    return "\n".join(parts)


def _paragraph(title: str, columns: list[str], what: str) -> list[str]:
    lines = [title]
    if what:
        lines += textwrap.wrap(what, 96, initial_indent="    ", subsequent_indent="    ")
    if columns:
        lines += textwrap.wrap(", ".join(columns), 96, initial_indent="    columns: ", subsequent_indent="    ")
        lines.append("")
    return lines
