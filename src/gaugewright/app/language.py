"""Languages: the catalogues that there are, and how a reader or a document is spoken to.

The source is English.  Catalogues lie in ``workbench/locale/<language>/LC_MESSAGES/
workbench.mo``, one for screens and documents alike; without one the English stands.
"""

import gettext
import hashlib
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from gaugewright.words import ENGLISH, Speech

if TYPE_CHECKING:
    from gaugewright.certificate.issue import Issue

LOCALES = Path(__file__).parent.parent / "workbench" / "locale"
DOMAIN: Final = "workbench"

DECIMAL_COMMA = frozenset(
    {
        *("bg", "cs", "da", "de", "el", "es", "et", "fi", "fr", "hr", "hu", "is", "it", "lt", "lv"),
        *("nb", "nl", "no", "pl", "pt", "ro", "ru", "sk", "sl", "sr", "sv", "tr", "uk"),
    }
)
"""Languages that write 45,5 where English writes 45.5."""


@lru_cache(maxsize=32)
def catalogue(language: str) -> gettext.NullTranslations:
    """Return the words of a language, the English ones if nobody has translated them.

    >>> catalogue("en").gettext("Record")
    'Record'
    """
    return gettext.translation(DOMAIN, LOCALES, languages=_names(language), fallback=True)


def has_catalogue(language: str) -> bool:
    """Tell whether somebody has translated into a language.

    >>> has_catalogue("tlh")
    False
    """
    return gettext.find(DOMAIN, LOCALES, _names(language)) is not None


def decimal_mark(language: str) -> str:
    """Return what stands before the decimals in a language.

    >>> decimal_mark("en"), decimal_mark("pt-BR")
    ('.', ',')
    """
    return "," if language.split("-")[0] in DECIMAL_COMMA else "."


def document_language(language: str) -> str:
    """Return the language that a document is set in: English where nobody has translated."""
    return language if has_catalogue(language) else "en"


def document_speech(issue: "Issue") -> Speech:
    """Return how a document speaks; an English one is the same on every computer."""
    if issue.language == "en":
        return ENGLISH
    from gaugewright.certificate.writing import Writer

    write = Writer(issue.units)
    return Speech(
        catalogue(issue.language).gettext,
        decimal_mark(issue.language),
        write.volume_unit,
        write.length_unit,
    )


def catalogue_mark(language: str) -> dict[str, str]:
    """Return by what a document's words can be told: only the same make the same bytes."""
    found = None if language == "en" else gettext.find(DOMAIN, LOCALES, _names(language))
    if found is None:
        return {}
    return {"words": hashlib.sha256(Path(found).read_bytes()).hexdigest()[:16]}


def _names(language: str) -> list[str]:
    return [language.replace("-", "_"), language.split("-")[0]]
