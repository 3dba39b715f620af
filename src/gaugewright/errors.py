"""Every exception that is raised on purpose, in one tree.

A message is shown to the person as it stands: it names what was found, with its
unit, and what would be right.
"""


class GaugewrightError(Exception):
    """The root: something the person in front of the screen can act on."""


class InputError(GaugewrightError, ValueError):
    """A number, a field or a file is wrong; the message says which and why.

    >>> str(InputError("must be above 0", field="added_l", line=7, file="pours.csv"))
    'pours.csv, line 7, added_l: must be above 0'
    """

    def __init__(
        self,
        problem: str,
        *,
        field: str | None = None,
        line: int | None = None,
        file: str | None = None,
    ) -> None:
        super().__init__(problem, field, line, file)
        self.problem = problem
        self.field = field
        self.line = line
        self.file = file

    def __str__(self) -> str:
        places = [
            self.file,
            None if self.line is None else f"line {self.line}",
            self.field,
        ]
        where = ", ".join(place for place in places if place)
        return f"{where}: {self.problem}" if where else self.problem

    def in_file(self, file: str) -> "InputError":
        """Return the same error with the file's name in it."""
        return InputError(self.problem, field=self.field, line=self.line, file=self.file or file)


class FileError(GaugewrightError, OSError):
    """A file could not be read or written; nothing was half-written."""


class SourceError(GaugewrightError):
    """An instrument failed.

    ``details`` are the settings and the system's own words, where a sentence does without.

    >>> str(SourceError("there is no adapter can9", details="[Errno 19] No such device"))
    'there is no adapter can9 ([Errno 19] No such device)'
    """

    def __init__(self, problem: str = "", *, details: str = "") -> None:
        super().__init__(problem)
        self.problem = problem
        self.details = details

    def __str__(self) -> str:
        return f"{self.problem} ({self.details})" if self.details else str(self.problem)


class SourceTimeoutError(SourceError, TimeoutError):
    """Nothing came from the instrument in time."""


class FrameError(SourceError):
    """Bytes came from the instrument, but not a valid frame."""


class JournalError(GaugewrightError):
    """The job book refused something."""


class AwayError(JournalError):
    """The book's database does not answer."""


class ChainError(JournalError):
    """An entry does not match its hash or does not follow the one before."""


class StateError(JournalError):
    """The job does not allow this step now."""


class ConflictError(JournalError):
    """Somebody else appended first; the newer entries come with it."""
