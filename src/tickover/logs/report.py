"""What the reader did with a file: counts in, counts out, and every choice it made."""

from __future__ import annotations

from tickover.results import Result


class ColumnUsed(Result):
    """A column that was understood.

    Attributes:
        name: the standard name, or ``time``.
        header: the name in the file.
        unit: the unit it is written in.
        unit_given: whether the file says the unit; else it was assumed.
        guessed: whether the name had to be guessed at.
    """

    name: str
    header: str
    unit: str
    unit_given: bool
    guessed: bool


class Suspicion(Result):
    """A column whose unit is doubtful; nothing was corrected.

    Attributes:
        name, header: standard name, and the name in the file.
        unit: the unit it was taken to be in.
        likely: units with which it would fit, best first; empty where none does.
        evidence: what does not fit, in a sentence without its full stop.
    """

    name: str
    header: str
    unit: str
    likely: tuple[str, ...]
    evidence: str

    def sentence(self) -> str:
        """For people, with what to type if it is so."""
        if not self.likely:
            return f"“{self.header}” as {self.name} in {self.unit} is doubtful: {self.evidence}."
        return (
            f"“{self.header}” is hardly in {self.unit}: {self.evidence}. Likely {' or '.join(self.likely)}; "
            f"if so, say --set-unit {self.name}={self.likely[0]}."
        )


class ColumnLeft(Result):
    """A column that was left out, and why."""

    header: str
    reason: str


class BrokenRow(Result):
    """A row that was left out: its line in the file, counted from 1, and what is wrong with it."""

    line: int
    what: str


class LogReport(Result):
    """What the reader did with one file.

    Attributes:
        file: the file.
        rows_in: lines below the header that are not blank; equal to rows_out + broken + backward + frozen_tail.
        rows_out: rows used.
        blank_lines: blank lines below the header; blank_at: the first hundred of them, by line.
        broken: rows left out, by line.
        backward: rows left out because their time runs backwards.
        frozen_tail: rows at the end, left out, in which nothing moves any more.
        duplicates: rows equal to the one before in every column.
        bad_cells: cells in used columns that hold something but no number.
        used, left: columns.
        time_base: what time was read from; time_why: why, and how it was filled in.
        seconds: length of the log; row_period: typical time from row to row [s].
        refresh_period: per signal, typical time from measurement to measurement [s].
        refreshes: per signal, measurements found.
        key_on_rows: rows before the engine turned.
        stale: values at key on that belong to the drive before.
        leaps: sensors that jump as no engine does.
        suspicions: columns whose unit is doubtful.
        impossible: values that no car has, by signal; they are counted, not removed.
        saturated: counters at their end, which mean "or more".
        gaps: pauses of the logger.
        remarks: anything else.
    """

    file: str
    rows_in: int
    rows_out: int
    blank_lines: int
    broken: tuple[BrokenRow, ...]
    backward: int
    frozen_tail: int
    duplicates: int
    bad_cells: int
    used: tuple[ColumnUsed, ...]
    left: tuple[ColumnLeft, ...]
    time_base: str
    time_why: str
    seconds: float
    row_period: float
    refresh_period: dict[str, float]
    refreshes: dict[str, int]
    key_on_rows: int
    stale: tuple[str, ...] = ()
    leaps: tuple[str, ...] = ()
    suspicions: tuple[Suspicion, ...] = ()
    impossible: tuple[str, ...] = ()
    saturated: tuple[str, ...] = ()
    gaps: tuple[str, ...] = ()
    blank_at: tuple[int, ...] = ()
    remarks: tuple[str, ...] = ()

    def sentences(self) -> tuple[str, ...]:
        """The report for people: only what is worth a look."""
        out = [f"{self.rows_in} rows read, {self.rows_out} used, {self.seconds:.0f} s by {self.time_base}."]
        if self.broken:
            lines = ", ".join(str(b.line) for b in self.broken[:5]) + (" …" if len(self.broken) > 5 else "")
            plural = "s" if len(self.broken) > 1 else ""
            out.append(f"{len(self.broken)} broken row{plural} left out: line {lines} ({self.broken[0].what}).")
        if self.blank_lines:
            lines = ", ".join(str(at) for at in self.blank_at[:5]) + (" …" if self.blank_lines > 5 else "")
            out.append(f"{self.blank_lines} blank line{'s' if self.blank_lines > 1 else ''}: line {lines}.")
        if self.backward:
            out.append(f"{self.backward} rows left out because their time runs backwards.")
        if self.frozen_tail:
            out.append(f"The last {self.frozen_tail} rows are frozen and left out.")
        if self.key_on_rows:
            are = "s are" if self.key_on_rows > 1 else " is"
            out.append(f"The first {self.key_on_rows} row{are} key on, engine off.")
        if self.duplicates:
            share = 100 * self.duplicates / max(self.rows_out, 1)
            out.append(f"{self.duplicates} rows ({share:.0f} %) repeat the one before.")
        period = self.refresh_period.get("engine_speed")
        if period is not None and period > 1.3 * self.row_period:
            out.append(f"Values are held: each is measured about every {period:.1f} s, rows come every "
                       f"{self.row_period:.2f} s.")  # fmt: skip
        if self.bad_cells:
            out.append(f"{self.bad_cells} cells hold no number and are left out.")
        guessed = [f"“{c.header}” as {c.name}" for c in self.used if c.guessed]
        if guessed:
            out.append(f"Guessed: {', '.join(guessed)}.")
        if self.left:
            out.append("Columns left out: " + ", ".join(f"“{c.header}” ({c.reason})" for c in self.left[:6])
                       + (" …" if len(self.left) > 6 else "") + ".")  # fmt: skip
        out += [s.sentence() for s in self.suspicions]
        return (*out, *self.gaps, *self.stale, *self.leaps, *self.impossible, *self.saturated, *self.remarks)
