"""What a command shows and writes: text for people, JSON for programs, files for both."""

import json
import os
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from gaugewright.app.files import write_text
from gaugewright.errors import InputError

_ASCII = str.maketrans(
    {
        "─": "-", "│": "|", "┌": "+", "┐": "+", "└": "+", "┘": "+", "├": "+", "┤": "+",
        "┬": "+", "┴": "+", "┼": "+", "═": "=", "█": "#", "▓": "#", "▒": ":", "░": ".",
        "▀": "#", "▁": "_", "▂": "_", "▃": "-", "▄": "=", "▅": "=", "▆": "#", "▇": "#",
        "•": "*", "●": "o", "·": ".", "→": "->", "±": "+/-", "°": " deg",
        "–": "-", "—": "-", "…": "...", "≤": "<=", "≥": ">=", "²": "2", "³": "3", "×": "x",
        "’": "'", "α": "alpha",
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Output:
    """Where one command's results go.

    People read standard output, unless ``--json`` or a file on ``-`` needs it for itself;
    then what is told to people goes to standard error.
    """

    as_json: bool = False
    out: str | None = None
    """The file to write, ``-`` for standard output, ``None`` for no file."""

    def tell(self, text: str = "") -> None:
        """Show a text to the person."""
        if self.as_json:
            return
        show(text, to_error=self.out == "-")

    def give(self, record: dict[str, Any]) -> None:
        """Print the record of the result, with ``--json`` only.

        With ``--out -`` too, the file has standard output and the record is left out.
        """
        if self.as_json and self.out != "-":
            show(json.dumps(record, ensure_ascii=False, allow_nan=False, indent=2))

    def write(self, text: str) -> None:
        """Write the result's file, if one is wanted."""
        if self.out is not None:
            write_text(self.out, text)


def require_other_file(target: str | None, option: str, sources: Mapping[str, str | None]) -> None:
    """Refuse to write over a file that the command reads.

    ``sources`` are the files read, by what the person calls them.
    """
    if target is None or target == "-":
        return
    for name, source in sources.items():
        if source is not None and source != "-" and _is_same_file(source, target):
            raise InputError(f"would overwrite {target}, which is read as {name}", field=option)


def _is_same_file(one: str, other: str) -> bool:
    try:
        return os.path.samefile(one, other)
    except (OSError, ValueError):  # one is not there, or cannot be
        return False


def show(text: str, *, to_error: bool = False) -> None:
    """Print a line in characters that the screen can show."""
    stream = sys.stderr if to_error else sys.stdout
    stream.write(displayable(text, stream.encoding) + "\n")


def displayable(text: str, encoding: str | None) -> str:
    """Return the text in characters that an encoding has, drawings in ASCII where it must be.

    >>> displayable("183.4 ± 1.2 L", "ascii"), displayable("183.4 ± 1.2 L", "utf-8")
    ('183.4 +/- 1.2 L', '183.4 ± 1.2 L')
    """
    encoding = encoding or "utf-8"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        plain = text.translate(_ASCII)
        return plain.encode(encoding, "replace").decode(encoding)
    return text
