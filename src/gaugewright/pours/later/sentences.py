"""What pours made later say, in plain sentences."""

from dataclasses import dataclass, field

from gaugewright.pours.later.changes import DENT, SPAN, TIP, UNCHANGED, ZERO
from gaugewright.pours.later.hold import CHANGES, SLIP, Held, Possible, Verdict
from gaugewright.units import LengthUnit, Volumes, from_mm

NAMES = {
    TIP: "the probe's tip moved",
    ZERO: "the probe's zero drifted",
    SPAN: "the probe's span changed",
    DENT: "the tank holds less (a dent, or something in it)",
    SLIP: "one of these pours was mistyped, spilt or not settled, or the vehicle moved",
    UNCHANGED: "nothing changed",
}
SHORT = {TIP: "a tip moved", ZERO: "a zero drifted", SPAN: "a span changed", DENT: "a dent"}
LEAST_LISTED = 0.005
READ_ZERO = (
    "Take the probe out, wipe it dry, read its zero in air, and look again: that tells a "
    "drifted zero from the rest."
)


def verdict_sentence(held: Held, what: str = "The table") -> str:
    """Return the verdict in one or two sentences."""
    count = len(held.comparisons)
    pours = f"{count} pour{'' if count == 1 else 's'}"
    agree = sum(each.agrees for each in held.comparisons)
    match held.verdict:
        case Verdict.CANNOT_TELL if not held.comparisons:
            return (
                f"{what} was not tested: the probe saw none of these pours from a reading "
                "before it. Pour more, or drain the tank first."
            )
        case Verdict.CANNOT_TELL:
            return (
                f"Cannot tell whether {what[0].lower()}{what[1:]} is still good: {pours} "
                f"agree{'s' if count == 1 else ''} with it, but {open_words(held)}"
            )
        case Verdict.GOOD:
            return f"{what} is still good: {pours} agree{'s' if count == 1 else ''} with it."
        case Verdict.REPEAT:
            return (
                f"One of these pours looks wrong, not the table: {agree} of {pours} agree. "
                "Repeat the one that does not."
            )
        case Verdict.DOUBTFUL if not held.named:
            return (
                f"{what} is in doubt: {agree} of {pours} agree, but chance explains the others "
                "better than any change. Pour once or twice more."
            )
        case Verdict.DOUBTFUL:
            more = READ_ZERO if held.is_zero_open else "Pour once or twice more."
            return f"{what} is in doubt. Likeliest: {named_words(held)}. {more}"
        case Verdict.NOT_GOOD:
            return f"{what} is no longer good: {named_words(held)}."


def open_words(held: Held) -> str:
    """Return what these pours cannot show, and what would."""
    if held.is_zero_open:
        return (
            "a drifted zero or a moved tip reads like fuel that was in the tank before them. "
            + READ_ZERO
        )
    if max(held.risks, key=lambda kind: held.risks[kind]) == TIP:
        return (
            "a moved tip reads like fuel that was in the tank before them. Measure its "
            "clearance, or drain the tank as for the first fill, dip it, and pour again."
        )
    return "too much may have changed where they did not reach. Pour once or twice more."


def named_words(held: Held) -> str:
    """Return what changed, or what cannot be told apart."""
    names = [NAMES[kind] for kind in held.named]
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} or {names[-1]}; these pours cannot tell them apart"


@dataclass(frozen=True, slots=True)
class LaterWords:
    """In which units changes are said, and what a count comes to."""

    volumes: Volumes = field(default_factory=Volumes)
    length: LengthUnit = "mm"
    mm_per_count: float = 1.0
    is_mm: bool = True
    """False where nobody described the probe: then a tip too is told in counts."""

    def change(self, value_mm: float, u_mm: float) -> str:
        """Return a length with its band."""
        if not self.is_mm:
            return f"{value_mm / self.mm_per_count:.0f} ± {u_mm / self.mm_per_count:.0f} counts"
        digits = 1 if self.length == "mm" else 2
        value, u = from_mm(value_mm, self.length), from_mm(u_mm, self.length)
        return f"{value:.{digits}f} ± {u:.{digits}f} {self.length}"

    def least(self, value_mm: float) -> str:
        """Return a smallest length."""
        if not self.is_mm:
            return f"{value_mm / self.mm_per_count:.0f} counts"
        digits = 1 if self.length == "mm" else 2
        return f"{from_mm(value_mm, self.length):.{digits}f} {self.length}"


def possible_sentence(possible: Possible, said: LaterWords) -> str:
    """Return one thing that may be so, with its size and band.

    >>> tip = Possible("tip_moved", 0.9, 4.1, 8.2, 3.0)
    >>> possible_sentence(tip, LaterWords())
    "the probe's tip moved: it hangs 8.2 ± 3.0 mm higher"
    """
    name = NAMES[possible.kind]
    size, u = possible.size, possible.u95_size
    if size is None or u is None:
        return name
    if possible.kind == TIP:
        return f"{name}: it hangs {said.change(abs(size), u)} {'higher' if size >= 0 else 'lower'}"
    if possible.kind == DENT:
        return f"{name}: {said.volumes.near(size, u)} less"
    words = f"{name}: {abs(size):.0f} ± {u:.0f} counts {'up' if size >= 0 else 'down'}"
    if not said.is_mm:
        return words
    return f"{words}, {said.change(abs(size) * said.mm_per_count, u * said.mm_per_count)}"


def could_show_sentence(held: Held, said: LaterWords) -> str:
    """Return the smallest changes that these pours could have shown.

    Otherwise silence would be taken for proof.
    """
    words = []
    for kind in CHANGES:
        least, short = held.could_show.get(kind), SHORT[kind]
        if least is None:
            words.append(f"{short} not at all")
        elif kind == TIP:
            words.append(f"{short} by {said.least(least)}")
        elif kind == DENT:
            words.append(f"{short} of {said.volumes.about(least)}")
        else:
            words.append(f"{short} by {least:.0f} counts")
    return f"Smallest change that these pours could have shown: {', '.join(words)}."


def listed(held: Held) -> tuple[Possible, ...]:
    """Return what is worth listing: changes and slips that are not out of the question."""
    return tuple(
        each
        for each in held.possible
        if each.probability >= LEAST_LISTED or each.kind in (UNCHANGED, *held.named)
    )
