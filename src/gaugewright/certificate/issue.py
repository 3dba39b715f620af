"""What a certificate is issued with: all that stands on it beside the journal."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final, Literal, get_args

from gaugewright.errors import InputError
from gaugewright.words import Said, said

Paper = Literal["a4", "letter"]
UnitsName = Literal["metric", "us", "imperial"]
Form = Literal["certificate", "summary"]

PAPERS: Final[tuple[Paper, ...]] = get_args(Paper)
UNITS: Final[tuple[UnitsName, ...]] = get_args(UnitsName)
FORMS: Final[tuple[Form, ...]] = get_args(Form)
FORM_NAMES: Final[Mapping[Form, Said]] = {
    "certificate": said("certificate"),
    "summary": said("summary"),
}
UNIT_NAMES: Final[Mapping[UnitsName, Said]] = {
    "metric": said("metric"),
    "us": said("us"),
    "imperial": said("imperial"),
}
"""Forms and units as they are called on the document itself."""
ENGLISH_LANGUAGE: Final = "en"
FORMAT: Final = 1
"""The arrangement of the pages and of what is attached to them."""
_LANGUAGE = re.compile(r"[a-z]{2,3}(-[A-Za-z0-9]{2,8})*")


@dataclass(frozen=True, slots=True)
class Issue:
    """A certificate's own particulars; with the journal they make the document.

    ``form``, ``paper`` and ``units`` only change how it looks: the same certificate can
    be printed in another form, and says then which one was issued.
    """

    number: str
    issued_at: datetime
    issued_by: str
    """Who pressed the button, by the name of the device's user."""
    signed_by: str = ""
    strokes: tuple[tuple[int, ...], ...] = ()
    place: str = ""
    workshop: str = ""
    paper: Paper = "a4"
    units: UnitsName = "metric"
    form: Form = "certificate"
    issued_as: tuple[Paper, UnitsName, Form] = ("a4", "metric", "certificate")
    replaces: str = ""
    reason: str = ""
    is_draft: bool = False
    volume_unit: str = "L"
    """Unit in which the book is kept: the pour check looks for slips in it."""
    versions: Mapping[str, str] = field(default_factory=dict)
    language: str = ENGLISH_LANGUAGE
    """In which its own words are; what people recorded stands as they recorded it."""

    def as_json(self) -> dict[str, Any]:
        """Return the particulars as they are attached to the document.

        Before there were languages all were in English: there none is named.
        """
        is_english = self.language == ENGLISH_LANGUAGE
        return {
            **({} if is_english else {"language": self.language}),
            "form": self.form,
            "format": FORMAT,
            "is_draft": self.is_draft,
            "issued_as": list(self.issued_as),
            "issued_at": self.issued_at.isoformat(),
            "issued_by": self.issued_by,
            "number": self.number,
            "paper": self.paper,
            "place": self.place,
            "reason": self.reason,
            "replaces": self.replaces,
            "signed_by": self.signed_by,
            "strokes": [list(stroke) for stroke in self.strokes],
            "units": self.units,
            "versions": dict(self.versions),
            "volume_unit": self.volume_unit,
            "workshop": self.workshop,
        }


def issue_from(record: Any) -> Issue:
    """Return the particulars that were attached, `InputError` for what is none.

    >>> from datetime import UTC
    >>> one = Issue("C-1", datetime(2026, 5, 4, tzinfo=UTC), "Ada", strokes=((1, 2),))
    >>> issue_from(one.as_json()) == one
    True
    """
    try:
        if record["format"] != FORMAT:
            raise InputError(
                said(
                    "is of format {value!r}, this version reads {format}",
                    value=record["format"],
                    format=FORMAT,
                )
            )
        paper, units, form = record["issued_as"]
        return Issue(
            number=str(record["number"]),
            issued_at=datetime.fromisoformat(record["issued_at"]),
            issued_by=str(record["issued_by"]),
            signed_by=str(record["signed_by"]),
            strokes=tuple(tuple(int(v) for v in stroke) for stroke in record["strokes"]),
            place=str(record["place"]),
            workshop=str(record["workshop"]),
            paper=paper_of(record["paper"]),
            units=units_of(record["units"]),
            form=form_of(record["form"]),
            issued_as=(paper_of(paper), units_of(units), form_of(form)),
            replaces=str(record["replaces"]),
            reason=str(record["reason"]),
            is_draft=bool(record["is_draft"]),
            volume_unit=str(record["volume_unit"]),
            versions={str(k): str(v) for k, v in record["versions"].items()},
            language=language_of(record.get("language", ENGLISH_LANGUAGE)),
        )
    except InputError:
        raise
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputError(
            said("these are not a certificate's particulars: {error}", error=error)
        ) from None


def language_of(text: Any) -> str:
    """Return a language by its code, `InputError` for what is none.

    >>> language_of("de"), language_of("pt-BR")
    ('de', 'pt-BR')
    """
    if _LANGUAGE.fullmatch(str(text)):
        return str(text)
    raise InputError(
        said("must be the code of a language such as de, found {value!r}", value=str(text)[:40]),
        field="language",
    )


def paper_of(text: Any) -> Paper:
    """Return a size of paper, `InputError` naming those that there are.

    >>> paper_of("Letter")
    'letter'
    """
    for each in PAPERS:
        if str(text).lower() == each:
            return each
    raise InputError(
        said("must be {wanted}, found {value!r}", wanted=" or ".join(PAPERS), value=str(text)[:40]),
        field="paper",
    )


def units_of(text: Any) -> UnitsName:
    """Return the units of a document, `InputError` naming those that there are."""
    for each in UNITS:
        if str(text).lower() == each:
            return each
    raise InputError(
        said("must be {wanted}, found {value!r}", wanted=", ".join(UNITS), value=str(text)[:40]),
        field="units",
    )


def form_of(text: Any) -> Form:
    """Return the form of a document, `InputError` naming those that there are."""
    for each in FORMS:
        if str(text).lower() == each:
            return each
    raise InputError(
        said("must be {wanted}, found {value!r}", wanted=" or ".join(FORMS), value=str(text)[:40]),
        field="form",
    )
