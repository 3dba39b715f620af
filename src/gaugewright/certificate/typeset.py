"""Sets a statement on pages: PDF/A-3, the same statement giving the same bytes."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import typst

from gaugewright import __version__
from gaugewright.certificate.attachments import Attachment
from gaugewright.certificate.glyphs import FONTS, first_unwritable
from gaugewright.certificate.issue import Issue
from gaugewright.certificate.sealed import PLACE, seal
from gaugewright.certificate.statement import Statement
from gaugewright.errors import GaugewrightError, InputError
from gaugewright.words import said

PAGES = Path(__file__).parent / "pages"
STANDARD: Final = "a-3b"


@lru_cache(maxsize=1)
def set_by() -> dict[str, str]:
    """Return what sets the pages: only the very same makes the same bytes.

    ``pages`` is a fingerprint of this room, since wording may change within a version.
    """
    room = Path(__file__).parent
    files = sorted(file for file in room.rglob("*") if file.suffix in (".py", ".typ"))
    whole = hashlib.sha256(b"".join(hashlib.sha256(f.read_bytes()).digest() for f in files))
    return {
        "gaugewright": __version__,
        "typst": version("typst"),
        "pages": whole.hexdigest()[:16],
    }


class TypesettingError(GaugewrightError):
    """The pages could not be set; the message says what stands in the way."""


def set_pages(
    statement: Statement,
    words: Mapping[str, str],
    issue: Issue,
    attached: Sequence[Attachment],
    photos: Mapping[str, bytes],
) -> bytes:
    """Return the document, sealed.

    Nothing of it is fetched and no font of this computer is used.  Words of people reach
    the template as data, never as markup, and so do its own (``words``).
    """
    data = statement.as_json() | {"words": dict(words)}
    require_letters(data)
    data |= {
        "language": issue.language.split("-")[0],
        "form": issue.form,
        "paper": "us-letter" if issue.paper == "letter" else "a4",
        "keyword": PLACE,
        "date": [*issue.issued_at.timetuple()[:6]],
        "pictures": {sha256: list(small) for sha256, small in photos.items()},
        "attached": [{**asdict(each), "content": list(each.content)} for each in attached],
    }
    document = compiled("document.typ", json.dumps(data), what="certificate")
    return seal(document)


def compiled(template: str, data: str, *, what: str) -> bytes:
    """Return a template of this room set with JSON text as its data.

    Raises `TypesettingError` naming what could not be set.
    """
    try:
        found = typst.compile(
            _template(template),
            format="pdf",
            font_paths=_fonts(),
            ignore_system_fonts=True,
            sys_inputs={"data": data},
            pdf_standards=[STANDARD],
            timestamp=0,
        )
    except typst.TypstError as error:
        raise TypesettingError(f"the {what} could not be set: {error.message}") from None
    return found


@lru_cache(maxsize=4)
def _template(name: str) -> bytes:
    return (PAGES / name).read_bytes()


@lru_cache(maxsize=1)
def _fonts() -> Any:
    """Return the fonts of this room and no others."""
    return typst.Fonts(
        include_system_fonts=False,
        include_embedded_fonts=False,
        font_paths=[str(FONTS)],
    )


def require_letters(value: Any, path: str = "") -> None:
    """Refuse a text with a letter that the fonts do not have, naming where it stands."""
    if isinstance(value, dict):
        for key, each in value.items():
            if key != "svg":  # drawings hold figures and words of our own
                require_letters(each, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list | tuple):
        for place, each in enumerate(value, start=1):
            require_letters(each, f"{path} {place}")
    elif isinstance(value, str):
        wrong = first_unwritable(value)
        if wrong is not None:
            raise InputError(
                said("U+{letter:04X} cannot be written on the certificate", letter=ord(wrong)),
                field=path or None,
            )
