"""Other scales on which a table may have been entered, and how that is said."""

from typing import Final

from gaugewright.table.copied import UNIT_WORDS, Form
from gaugewright.table.difference import Difference
from gaugewright.units import L_PER_IMPERIAL_GALLON, L_PER_US_GALLON
from gaugewright.words import Said, said

_BITS = {8: 255.0, 10: 1023.0, 12: 4095.0, 14: 16383.0, 16: 65535.0}
COUNTS_SCALES: Final = {high / low for low in _BITS.values() for high in _BITS.values()} | {
    2.0**n for n in range(-8, 9)
}
"""Factors between counts of unlike bits, full scale to full scale and shifted bits."""
_SHARES = {100.0: said("per cent of full scale"), 1000.0: said("per mille of full scale")}
LITRES_SCALES: Final = {
    1 / L_PER_US_GALLON: said("US gallons"),
    1 / L_PER_IMPERIAL_GALLON: said("imperial gallons"),
    L_PER_US_GALLON: said("litres turned into litres once more, as if ours were US gallons"),
    L_PER_IMPERIAL_GALLON: said(
        "litres turned into litres once more, as if ours were imperial gallons"
    ),
    0.001: said("cubic metres"),
    0.01: said("hectolitres"),
    0.1: said("decalitres"),
    10.0: said("decilitres"),
    100.0: said("centilitres"),
    1000.0: said("millilitres"),
}
"""Their unit by its factor. [their unit per litre]"""


def counts_scales(form: Form) -> set[float]:
    """Return the factors that the counts may have been scaled by."""
    return COUNTS_SCALES | {top / form.full_scale for top in (*_BITS.values(), *_SHARES)}


def litres_scales(form: Form) -> dict[float, Said]:
    """Return the factors that the volumes may have been scaled by, and their names."""
    if form.unit == "L":
        return LITRES_SCALES
    again = said("gallons turned into gallons once more, as if ours were litres")
    return form.scales_to() | {1 / (form.litres_per_unit): again}


def counts_scale_differs(k: float, form: Form) -> Difference:
    """Return that all their counts are ours times a factor."""
    bits = [
        (theirs, our)
        for theirs, high in _BITS.items()
        for our, low in _BITS.items()
        if theirs != our
        and (abs(high / low / k - 1) < 1e-3 or abs(2.0 ** (theirs - our) / k - 1) < 1e-3)
    ]
    # Of all pairs with this ratio the one whose second is our scale.
    bits.sort(key=lambda pair: abs(_BITS[pair[1]] - form.full_scale))
    told = next(
        (w for top, w in _SHARES.items() if abs(top / form.full_scale / k - 1) < 1e-3), None
    )
    if bits and abs(_BITS[bits[0][1]] / form.full_scale - 1) < 0.01:
        theirs, our = bits[0]
        told = said("{theirs}-bit counts where ours are {our}-bit", theirs=theirs, our=our)
    if told is None:
        message = said(
            "Their counts are ours times {factor:.5g}: set the same scale in both systems.",
            factor=float(k),
        )
    else:
        message = said(
            "Their counts are ours times {factor:.5g} ({what}): set the same scale in both "
            "systems.",
            factor=float(k),
            what=told,
        )
    return Difference("wrong_counts_scale", message, column="counts")


def litres_scale_differs(m: float, form: Form) -> Difference:
    """Return that all their volumes are ours times a factor."""
    known = litres_scales(form)
    words = UNIT_WORDS[form.unit]
    if m in known:
        message = said(
            "Their {unit} are ours times {factor:.5g} ({what}): enter the figures in {unit}.",
            unit=words,
            factor=float(m),
            what=known[m],
        )
    else:
        message = said(
            "Their {unit} are ours times {factor:.5g}: enter the figures in {unit}.",
            unit=words,
            factor=float(m),
        )
    return Difference("wrong_litres_scale", message, column="litres")


def offset_differs(offset: float, form: Form) -> Difference:
    """Return that all their volumes lie off ours by the same."""
    figures = {"unit": UNIT_WORDS[form.unit], "by": float(abs(offset)), "sign": form.unit}
    if offset > 0:
        message = said(
            "All their {unit} are {by:.4g} {sign} more than ours: the zero is counted from "
            "another level; enter our {unit}.",
            **figures,
        )
    else:
        message = said(
            "All their {unit} are {by:.4g} {sign} less than ours: the zero is counted from "
            "another level; enter our {unit}.",
            **figures,
        )
    return Difference("constant_offset", message, column="litres")
