"""Errors that reach the user, and the findings they carry."""

from __future__ import annotations

from dataclasses import dataclass

EXIT_STOPPED = 130
"""Exit status of a run that Ctrl-C has stopped, as shells give it."""
STOPPED = "stopped; previous results are untouched"
"""What such a run says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One fault in the user's input: where it is, what it is, and what to do."""

    file: str
    """File name as the user knows it."""
    rule: str
    """The rule that is broken, in plain words."""
    remedy: str = ""
    """What to do about it."""
    row: int | None = None
    """Spreadsheet row (the header is row 1), or line of a text file."""
    id: str = ""
    """The row's own id, where it has one."""
    column: str = ""
    """Column or key."""
    value: str = ""
    """The offending value as it stands in the file."""

    def __str__(self) -> str:
        """Say file, row, column, value, rule and remedy on one line.

        >>> print(Finding(file="stations.csv", row=3, column="lon", value="abc", rule="is not a number"))
        stations.csv row 3, column lon: 'abc' is not a number
        """
        where = self.file
        if self.row is not None:
            where += f" row {self.row}"
        if self.id:
            where += f" ({self.id})"
        if self.column:
            where += f", column {self.column}"
        said = f"{self.value!r} {self.rule}" if self.value else self.rule
        return f"{where}: {said}" + (f"; {self.remedy}" if self.remedy else "")


def unreadable(file: str, error: OSError) -> Finding:
    """Make the finding of a file that the system does not let this program read, or that is not there."""
    if isinstance(error, FileNotFoundError):
        return Finding(file=file, rule="is not there", remedy="see that its name and its folder are right")
    if isinstance(error, IsADirectoryError):
        return Finding(file=file, rule="is a folder", remedy="name the file in it")
    rule = f"cannot be read: {error.strerror or error}"
    return Finding(file=file, rule=rule, remedy="see that it is yours to read and whole, or name a copy of it")


class PreplanError(Exception):
    """Base of every error that this program raises on purpose."""


class InputError(PreplanError, ValueError):
    """The input is at fault (exit status 2); carries every finding, not only the first."""

    def __init__(self, findings: list[Finding]) -> None:
        """Keep the findings and print as one line each."""
        self.findings = tuple(findings)
        super().__init__("\n".join(str(finding) for finding in findings))


class OutputError(PreplanError, OSError):
    """The results cannot be written (exit status 1); previous results are intact."""


class PlaceError(OutputError):
    """The folder named for results cannot hold them (exit status 2): what was asked for is at fault."""


class InvariantError(PreplanError, AssertionError):
    """A result contradicts itself (exit status 1): a fault of the program, named with its address."""
