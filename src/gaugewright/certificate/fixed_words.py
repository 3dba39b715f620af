"""The words that stand on every document, whatever it states; the pages take them as data."""

from gaugewright.certificate.statement import Statement
from gaugewright.words import Said, said

COMMAND = "`gaugewright verify`"
"""Set in the face of commands; the same in every language."""


def fixed_words(statement: Statement) -> dict[str, Said]:
    """Return the fixed words of the pages by the names that the template calls them by."""
    signed = statement.signature
    footer = {"number": statement.number, "where": signed.place_and_day}
    summary_of = said("Certificate {number}, {where}.", **footer)
    if signed.name:
        summary_of = said("Certificate {number}, {where}, {name}.", name=signed.name, **footer)
    return {
        "page": said("Page {page} of {pages}", page="{page}", pages="{pages}"),
        "signed": said("Signed"),
        "signed_by": said("by {name}", name=signed.name),
        "no_workshop": said("Workshop not named in the job book"),
        "told": said(
            "told by the customer or read from a plate; not measured by the workshop, and not "
            "needed for the figures unless it is said so."
        ),
        "glance": said("Results at a glance"),
        "check_heading": said("How to check this document"),
        "check": said(
            "The journal of the job and every table are attached to this file. {command} on this "
            "file checks every hash of the journal, works the table out again from the pours, "
            "sets these pages again and compares them. The code on the first page carries the job "
            "and the journal’s last hash: it must be the one at every page’s foot and in the "
            "workshop’s job book.",
            command=COMMAND,
        ),
        "conditions": said("Conditions and reference instruments"),
        "method": said("Method"),
        "table": said("Calibration table"),
        "plot": said("Table and band"),
        "job": said("The whole job"),
        "summary_of": summary_of,
    }
