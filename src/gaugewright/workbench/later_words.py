"""Words of the page of a table's later life."""

from collections.abc import Callable

Say = Callable[[str], str]

SIGNS = {"good": "■", "doubtful": "▲", "repeat": "▲", "not_good": "⬣", "cannot_tell": "◌"}
CLASSES = {"good": "good", "not_good": "stop", "cannot_tell": "soft"}


def verdict_names(say: Say) -> dict[str, str]:
    """Give what pours made later may say, in the reader's language."""
    return {
        "good": say("Still good"),
        "doubtful": say("In doubt"),
        "repeat": say("Repeat a pour"),
        "not_good": say("No longer good"),
        "cannot_tell": say("Cannot tell"),
    }


def way_names(say: Say) -> dict[str, str]:
    """Give how a version of a table came about, in the reader's language."""
    return {
        "fill": say("made from the fill"),
        "recheck": say("from a re-check"),
        "exchange": say("carried to a new probe"),
        "sister": say("with a sister tank's table before the pours"),
        "service": say("refined from receipts and the engine's counter"),
    }
