"""Files in and out: texts in the encodings that people have, writes that are whole or none.

``-`` stands for standard input and standard output.
"""

import codecs
import os
import re
import secrets
import stat
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from errno import EISDIR
from pathlib import Path

from gaugewright.errors import FileError, InputError
from gaugewright.words import said

MOST_BYTES = 20_000_000
"""A text file above this size is refused before it is read. [bytes]"""

# Without O_BINARY Windows would turn every line feed into two characters.
_NEW_FILE = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)

# Control characters that no text file has; tab, line feed, form feed and return are fine.
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f]")


def read_text(path: str, *, most_bytes: int = MOST_BYTES) -> str:
    """Return the text of a file, or of standard input for ``-``.

    Raises `FileError` if it cannot be read and `InputError` if it is too large or not text.
    """
    return decode(read_bytes(path, most_bytes=most_bytes), name=shown_name(path))


def read_bytes(path: str, *, most_bytes: int = MOST_BYTES) -> bytes:
    """Return the bytes of a file, or of standard input for ``-``.

    Never more than ``most_bytes`` are held, whatever the file says of its size.
    """
    name = shown_name(path)
    try:
        if path == "-":
            found = sys.stdin.buffer.read(most_bytes + 1)
        else:
            with open(path, "rb") as stream:
                _require_size(os.fstat(stream.fileno()), name, most_bytes)
                found = stream.read(most_bytes + 1)
    except OSError as error:
        raise FileError(
            said("{name}: cannot be read: {error}", name=name, error=reason(error))
        ) from None
    except InputError:
        raise
    except ValueError as error:  # a NUL in the name
        raise FileError(said("{name!r}: cannot be read: {error}", name=name, error=error)) from None
    if len(found) > most_bytes:
        raise _too_large(name, most_bytes)
    return found


def decode(found: bytes, *, name: str | None = None) -> str:
    r"""Return the text in bytes that are UTF-8, UTF-16 or, as a last resort, Windows-1252.

    >>> decode("step;added_l\n1;45,5".encode("utf-16"))
    'step;added_l\n1;45,5'
    >>> decode(b"\x89PNG\r\n\x1a\n\x00\x00\x00", name="photo.png")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: photo.png: is not a text file (it holds the byte 0x1a)...
    """
    for encoding in _encodings(found):
        try:
            text = found.decode(encoding)
        except UnicodeDecodeError:
            continue
        control = _CONTROL.search(text)
        if control:
            raise InputError(
                said(
                    "is not a text file (it holds the byte 0x{control:02x}); wanted text in UTF-8",
                    control=ord(control[0]),
                ),
                file=name,
            )
        return text.removeprefix("\ufeff")
    raise InputError(said("is not a text file; wanted text in UTF-8"), file=name)


def write_text(path: str, text: str) -> None:
    """Write a text as UTF-8, whole or not at all; ``-`` is standard output."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: str, content: bytes) -> None:
    """Write a file whole or not at all; ``-`` is standard output.

    The content goes to a temporary file beside it, to the disk, and then into place in
    one step, so that a power cut or a full disk leaves the old file or the new one.
    Raises `FileError`.
    """
    write_files({path: content})


def write_files(contents: Mapping[str, bytes]) -> None:
    """Write files that belong together: where one is refused, none is touched.

    As `write_bytes`; what goes to standard output, a pipe or a device goes last.
    """
    prepared: dict[Path, Path] = {}
    streams = []
    try:
        for path, content in contents.items():
            with _naming_refusal(path):
                target = Path(path)
                # A pipe or a device cannot be replaced by a file, and must not be.
                if path == "-" or (target.exists() and not target.is_file()):
                    if path != "-" and target.is_dir():
                        raise IsADirectoryError(EISDIR, "it is a folder")
                    streams.append(path)
                    continue
                target = target.resolve()
                prepared[target] = _written_beside(target, content)
        for target, beside in prepared.items():
            with _naming_refusal(str(target)):
                os.replace(beside, target)
                _sync_folder(target.parent)
    except BaseException:
        for beside in prepared.values():
            beside.unlink(missing_ok=True)
        raise
    for path in streams:
        if path == "-":
            _write_out(contents[path])
        else:
            _write_through(path, contents[path])


def make_folder(folder: Path) -> None:
    """Make a folder that files go into.  Raises `FileError` if that cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise FileError(
            said("{path}: is a file; wanted a folder to write into", path=str(folder))
        ) from None
    except OSError as error:
        raise FileError(
            said("{path}: cannot be made a folder: {error}", path=str(folder), error=reason(error))
        ) from None


@contextmanager
def _naming_refusal(path: str) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise FileError(
            said("{path}: cannot be written: {error}", path=path, error=reason(error))
        ) from None
    except ValueError as error:  # a NUL in the name
        raise FileError(
            said("{path!r}: cannot be written: {error}", path=path, error=error)
        ) from None


@contextmanager
def naming_file(path: str) -> Iterator[None]:
    """Put the file's name into every `InputError` that what is inside raises.

    >>> with naming_file("pours.csv"):
    ...     raise InputError("is empty", line=3)
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: pours.csv, line 3: is empty
    """
    try:
        yield
    except InputError as error:
        raise error.in_file(shown_name(path)) from None


def shown_name(path: str) -> str:
    """Return what a message calls the file.

    >>> shown_name("-"), shown_name("pours.csv")
    ('standard input', 'pours.csv')
    """
    return "standard input" if path == "-" else path


def reason(error: OSError) -> str:
    """Return why the system refused, in words.

    >>> import errno
    >>> reason(OSError(errno.ENOSPC, "No space left on device"))
    'no space left on device'
    """
    text = error.strerror or str(error)
    return text[:1].lower() + text[1:]


def _require_size(status: os.stat_result, name: str, most_bytes: int) -> None:
    if stat.S_ISREG(status.st_mode) and status.st_size > most_bytes:
        raise _too_large(name, most_bytes, status.st_size)


def _too_large(name: str, most_bytes: int, size: int | None = None) -> InputError:
    found = f"is {size / 1e6:.0f} MB" if size is not None else "goes on"
    return InputError(
        said(
            "{found}, above the {most_bytes:.0f} MB that are read",
            found=found,
            most_bytes=most_bytes / 1e6,
        ),
        file=name,
    )


def _encodings(found: bytes) -> tuple[str, ...]:
    if found.startswith(codecs.BOM_UTF8):
        return ("utf-8",)
    if found.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return ("utf-16",)
    # Without a mark, UTF-16 of Western text shows as a zero in every second byte.
    head = found[:2000]
    if len(head) >= 4 and len(found) % 2 == 0:
        if head[1::2].count(0) > 0.9 * len(head) / 2 and 0 not in head[0::2]:
            return ("utf-16-le",)
        if head[0::2].count(0) > 0.9 * len(head) / 2 and 0 not in head[1::2]:
            return ("utf-16-be",)
    return ("utf-8", "cp1252")


def _write_out(content: bytes) -> None:
    try:
        sys.stdout.flush()
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        raise FileError(
            said("standard output: cannot be written: {error}", error=reason(error))
        ) from None


def _write_through(path: str, content: bytes) -> None:
    try:
        with open(path, "wb") as stream:
            stream.write(content)
    except OSError as error:
        raise FileError(
            said("{path}: cannot be written: {error}", path=path, error=reason(error))
        ) from None


def _written_beside(target: Path, content: bytes) -> Path:
    """Write the content to the disk under another name in the same folder."""
    if target.exists() and not os.access(target, os.W_OK):
        # Replacing needs leave for the folder only; a file made read-only is meant to stay.
        raise PermissionError(13, "Permission denied")
    beside = target.with_name(f".{target.name[:50]}.{secrets.token_hex(6)}.tmp")
    handle = os.open(beside, _NEW_FILE, 0o666)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        if target.exists():
            os.chmod(beside, stat.S_IMODE(target.stat().st_mode))
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    return beside


def _sync_folder(folder: Path) -> None:
    """Bring the new name to the disk, where the system lets a folder be opened and synced.

    Some network file systems refuse, and so does a folder without leave to read; the file
    itself is written by then, so a refusal is no failure.
    """
    if os.name != "posix":
        return
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
