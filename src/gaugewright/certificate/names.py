"""What the journal keeps by a short name, as it is called on the certificate."""

from collections.abc import Mapping
from typing import Final

from gaugewright.words import Said, said

_NAMES: Final[Mapping[str, Said]] = {
    "box": said("box"),
    "lying_cylinder": said("lying cylinder"),
    "upright_cylinder": said("upright cylinder"),
    "oval": said("oval"),
    "obround": said("obround"),
    "d_section": said("d section"),
    "stepped": said("stepped"),
    "section": said("section"),
    "length": said("length"),
    "width": said("width"),
    "height": said("height"),
    "diameter": said("diameter"),
    "round_depth": said("round depth"),
    "edge_radius": said("edge radius"),
    "end_depth": said("end depth"),
    "step_length": said("step length"),
    "step_height": said("step height"),
    "corner_radius": said("corner radius"),
    "wall": said("wall"),
    "corrected": said("corrected"),
    "kept": said("kept"),
    "repeated": said("repeated"),
    "voided": said("voided"),
}


def in_words(short: str) -> str:
    """Return a short name in words; one that is not known stands as it is.

    >>> in_words("lying_cylinder"), in_words("new_kind")
    ('lying cylinder', 'new kind')
    """
    return _NAMES.get(short, short.replace("_", " "))
