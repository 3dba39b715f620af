"""Both bands of a table over the counts: as it is, and as service would have it."""

from math import ceil, floor

import numpy as np

from gaugewright.app.pictures_refined import OfferPicture
from gaugewright.certificate.drawing import svg
from gaugewright.certificate.drawing.plot import Axis, nice_step
from gaugewright.units import from_litres
from gaugewright.workbench.drawing import Drawn
from gaugewright.workbench.words import Figures, Say


def bands_drawing(offer: OfferPicture, write: Figures, say: Say) -> Drawn:
    """Draw how far the table's values may lie from it now, and from the refined one after."""
    return Drawn(
        _bands(offer, write, say, 700, 330, "dwg plot wide"),
        _bands(offer, write, say, 340, 270, "dwg plot narrow"),
    )


def _bands(
    offer: OfferPicture, write: Figures, say: Say, width: float, height: float, css_class: str
) -> str:
    unit = write.units.volume_unit
    per_l = from_litres(1.0, unit)
    counts = np.array([row.counts for row in offer.before])
    u_before = np.array([row.u_litres for row in offer.before]) * per_l
    u_after = np.array([row.u_litres for row in offer.table]) * per_l
    litres = np.array(
        [(r.litres, o.litres) for r, o in zip(offer.table, offer.before, strict=True)]
    )
    change = (litres[:, 0] - litres[:, 1]) * per_l
    size, left, right, top, foot = 14.0, 52.0, width - 24.0, 26.0, height - 50.0
    most = 1.1 * float(max(u_before.max(), np.abs(change + u_after).max(),
                           np.abs(change - u_after).max(), 1e-3))  # fmt: skip
    x_of, y_of = Axis(counts[0], counts[-1], left, right), Axis(-most, most, foot, top)
    parts = [svg.words(say("{unit} from the table now").format(unit=unit), left, top - 10, size,
                       "soft")]  # fmt: skip
    step = nice_step(2 * most, 4)
    for k in range(ceil(-most / step - 1e-9), floor(most / step + 1e-9) + 1):
        y = float(y_of(k * step))
        parts.append(svg.line(left, y, right, y, 0.5, "soft"))
        decimals = max(0, -floor(np.log10(step) + 1e-9))
        parts.append(svg.words(write.plain(k * step, decimals), left - 6, y + 5, size,
                               anchor="end"))  # fmt: skip
    x = x_of(counts)
    edges = [np.column_stack([x, y_of(sign * u_before)]) for sign in (1, -1)]
    edges_after = [np.column_stack([x, y_of(change + sign * u_after)]) for sign in (1, -1)]
    area = np.vstack([edges_after[0], edges_after[1][::-1]])
    parts.append(svg.element("path", d=svg.polygon_path([area]), class_="f-draft", fill=svg.DRAFT,
                             fill_opacity=0.25))  # fmt: skip
    parts += [_line(edge, "s-ink", svg.INK, 1.6, "6 4") for edge in edges]
    parts.append(_line(np.column_stack([x, y_of(change)]), "s-draft", svg.DRAFT, 2.2, None))
    parts.append(svg.line(left, float(y_of(0)), right, float(y_of(0)), 1.4))
    step = nice_step(float(counts[-1] - counts[0]), 4)
    for k in range(ceil(counts[0] / step - 1e-9), floor(counts[-1] / step + 1e-9) + 1):
        place = float(x_of(k * step))
        parts.append(svg.line(place, foot, place, foot + 6, 1.4))
        parts.append(svg.words(write.counts(k * step), place, foot + 21, size, anchor="middle"))
    parts.append(svg.words(say("counts"), right, foot + 40, size, "soft", anchor="end"))
    label = say(
        "The band over the counts: now ± {before} at its widest, refined ± {after}."
    ).format(
        before=write.volume(offer.largest_band_before_l),
        after=write.volume(offer.largest_band_after_l),
    )
    return svg.drawing(width, height, label, *parts, css_class=css_class)


def _line(points: np.ndarray, role: str, ink: str, width: float, dash: str | None) -> str:
    return svg.element("path", d=svg.polyline_path(points), fill="none", class_=role, stroke=ink,
                       stroke_width=width, stroke_dasharray=dash)  # fmt: skip
