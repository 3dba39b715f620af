"""A checked wiring as text for people."""

from collections.abc import Mapping
from textwrap import fill
from typing import Any

SIGNS = {"wrong": "WRONG", "open": "open", "note": "note"}


def wiring_text(found: Mapping[str, Any]) -> str:
    """Return a checked wiring for people: cautions first, figures, then what was found."""
    cautions = [_flowed("!", caution["text"]) for caution in found["cautions"]]
    remarks = [
        _flowed(SIGNS[each["kind"]], f"{each['wire'] or each['part']}: {each['message']}")
        for each in found["findings"]
    ]
    return "\n".join([*cautions, "", *_figures(found), "", *remarks])


def _figures(found: Mapping[str, Any]) -> list[str]:
    cable, fuse, days, bus = (found[name] for name in ("cable", "fuse", "days_parked", "bus"))
    supply = " ".join(each for each in (found["supply"], found["fed"]) if each) or "not known yet"
    lowest = "" if found["lowest_v"] is None else f", down to {found['lowest_v']:g} V"
    lines = [f"supply   {supply}{lowest}, {found['load_ma']:g} mA"]
    if cable:
        lines += [
            f"cable    {cable['length_m']:g} m of {cable['sizes']}"
            + (" (the thinnest that is enough)" if cable["is_chosen_here"] else ""),
            f"arrives  {cable['least_head_v']:.2f} V at the least (lowest supply, cable at "
            f"{cable['hottest_c']:g} °C), {cable['usual_head_v']:.2f} V with the engine running",
        ]
    if fuse:
        lines.append(
            f"fuse     {fuse['rating_a']:g} A, {fuse['largest_for_cable_a']:g} A at most for this "
            f"cable; a short circuit draws {fuse['least_short_circuit_a']:g} A at the least"
        )
    if days:
        lines.append(
            f"parked   {days['days']:.0f} days until the battery is 20 % down, {days['least']:.0f} "
            f"to {days['most']:.0f} by its age and losses (bounds, common practice)"
        )
    if bus:
        ohm = "nothing terminates it" if bus["idle_ohm"] is None else f"{bus['idle_ohm']:g} ohm"
        lines.append(f"bus      {bus['stations']} stations; across A and B, all off: {ohm}")
    for pin in found["pins"]:
        ends = f"{pin['at_probe'] or '?'} - {pin['at_unit'] or '?'}"
        lines.append(f"wire     {pin['colour'] or '?'}: {ends}")
    return lines


def _flowed(sign: str, text: str) -> str:
    return fill(f"{sign} {text}", 96, subsequent_indent="  ")
