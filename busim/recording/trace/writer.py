"""Writes a trace file: makes it, inserts batches, closes it.

One commit per batch in write-ahead mode without a sync per commit: committed rows survive the death of every process,
and another process may read meanwhile. An orderly close folds the write-ahead file back, so a finished trace is one
file that opens on read-only media.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator

from busim.foundation.errors import Defect, UserError
from busim.foundation.version import VERSION
from busim.recording.trace.batches import Batch
from busim.recording.trace.claim import claim, give_up
from busim.recording.trace.records import BURST, EXCHANGE, SCHEMA, TABLES, Record
from busim.recording.trace.schema import APPLICATION_ID, HEAD, insertion, statements
from busim.recording.trace.summary import Summary

HeadValue = int | float | str


class TraceWriter:
    """A trace being written at `path`, which must not exist; with `overwrite` it replaces an older trace.

    Raises UserError if the file cannot be made or, later, written; Defect if a record does not fit its table.
    """

    def __init__(self, path: str, head: dict[str, HeadValue], *, overwrite: bool = False) -> None:
        if unknown := set(head) - set(HEAD):
            raise Defect(f"unknown keys of a trace's head: {', '.join(sorted(unknown))}")
        self._path = path
        self._summary = Summary()
        self._insertions = {kind: insertion(kind) for kind in TABLES}
        self._lock = claim(path, overwrite=overwrite)
        try:
            with self._telling():
                self._database = sqlite3.connect(path, isolation_level=None, timeout=1.0)
                self._make(head | {"schema": SCHEMA, "busim": VERSION, "complete": 0})
        except BaseException:
            give_up(path, self._lock)
            raise

    def _make(self, head: dict[str, HeadValue]) -> None:
        run = self._database.execute
        run(f"PRAGMA application_id = {APPLICATION_ID}")
        run("BEGIN")
        for statement in statements():
            run(statement)
        self._database.executemany("INSERT INTO head VALUES (?, ?)", head.items())
        run("COMMIT")
        run("PRAGMA journal_mode = WAL")
        run("PRAGMA synchronous = NORMAL")

    def write(self, batch: Batch) -> None:
        """Insert a batch and commit it; a batch with `ended_at` marks the trace complete."""
        with self._telling():
            run, many = self._database.execute, self._database.executemany
            run("BEGIN")
            many("INSERT INTO name VALUES (?, ?, ?, ?)", batch.names)
            many("INSERT INTO setting VALUES (?, ?, ?, ?, ?, ?, ?)", batch.settings)
            self._insert(batch.records)
            many("INSERT INTO lateness VALUES (?, ?)", batch.lateness)
            many("INSERT OR REPLACE INTO head VALUES (?, ?)", batch.head)
            if batch.ended_at is not None:
                many("INSERT OR REPLACE INTO head VALUES (?, ?)", [("ended_at", batch.ended_at), ("complete", 1)])
            run("COMMIT")

    def _insert(self, records: list[Record]) -> None:
        kinds: dict[int, list[Record]] = {kind: [] for kind in TABLES}
        for record in records:
            kinds[record[0]].append(record)
        for kind, rows in kinds.items():
            if rows:
                self._database.executemany(self._insertions[kind], rows)
        self._summary.add_bursts(kinds[BURST])
        self._summary.add_exchanges(kinds[EXCHANGE])
        self._summary.store(self._database)

    def close(self) -> None:
        """Close the file, after an orderly end or not."""
        with self._telling():
            # A reader may hold the write-ahead file; then it stays, and the trace is complete nevertheless.
            with contextlib.suppress(sqlite3.OperationalError):
                self._database.execute("PRAGMA journal_mode = DELETE")
            self._database.close()
        os.close(self._lock)

    @contextlib.contextmanager
    def _telling(self) -> Iterator[None]:
        """Turn the database's errors into the user's or ours."""
        try:
            yield
        except sqlite3.OperationalError as error:
            raise UserError(
                "the trace cannot be written",
                file=self._path,
                found=str(error),
                mend="make room on the disk, or write the trace to another one",
            ) from error
        except (sqlite3.Error, OverflowError, KeyError, IndexError, TypeError, AttributeError) as error:
            raise Defect(f"a record does not fit the trace: {type(error).__name__}: {error}") from error
