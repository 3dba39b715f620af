"""A whole document out of a journal: folded, stated, set, sealed.

The same journal, particulars and small photos give the same bytes, so a document can be
made again from what is attached to it and held against itself.
"""

from collections.abc import Mapping, Sequence

from gaugewright.certificate.attachments import attachments
from gaugewright.certificate.building import shown_photos, statement_of
from gaugewright.certificate.fixed_words import fixed_words
from gaugewright.certificate.issue import Issue
from gaugewright.certificate.typeset import set_pages
from gaugewright.errors import StateError
from gaugewright.journal.chain import Entry
from gaugewright.journal.fold import fold
from gaugewright.words import ENGLISH, Speech, said


def document_of(
    entries: Sequence[Entry],
    issue: Issue,
    photos: Mapping[str, bytes],
    speech: Speech = ENGLISH,
) -> bytes:
    """Return the document over a journal's entries, oldest first.

    ``photos`` are the shown photos made small, by the SHA-256 of the whole one; ``speech``
    says its own words in the language of ``issue``.  Raises
    `StateError` if no table is accepted, `InputError` naming a field that cannot be set.
    """
    if not entries:
        raise StateError(said("there is no journal to make a certificate of"))
    state = fold(entries[0].job, entries)
    statement = statement_of(state, issue, speech)
    named = {photo.sha256 for photo in shown_photos(state)}
    shown = {sha256: small for sha256, small in photos.items() if sha256 in named}
    attached = attachments(entries, issue, state, shown)
    return set_pages(
        speech.all_of(statement),
        speech.all_of(fixed_words(statement)),
        issue,
        speech.all_of(attached),
        shown,
    )
