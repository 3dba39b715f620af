"""What pours made later say, in plain sentences."""

from dataclasses import dataclass, field

from gaugewright.pours.later.changes import DENT, SPAN, TIP, UNCHANGED, ZERO
from gaugewright.pours.later.hold import CHANGES, SLIP, Held, Possible, Verdict
from gaugewright.units import LengthUnit, Volumes, from_mm
from gaugewright.words import Said, said, together

NAMES = {
    TIP: said("the probe's tip moved"),
    ZERO: said("the probe's zero drifted"),
    SPAN: said("the probe's span changed"),
    DENT: said("the tank holds less (a dent, or something in it)"),
    SLIP: said("one of these pours was mistyped, spilt or not settled, or the vehicle moved"),
    UNCHANGED: said("nothing changed"),
}
LEAST_LISTED = 0.005
READ_ZERO = said(
    "Take the probe out, wipe it dry, read its zero in air, and look again: that tells a "
    "drifted zero from the rest."
)
POUR_MORE = said("Pour once or twice more.")


def verdict_sentence(held: Held, *, is_carried: bool = False) -> Said:
    """Return the verdict in one or two sentences."""
    count = len(held.comparisons)
    pours = said("{count} pour", count=count) if count == 1 else said("{count} pours", count=count)
    agree = sum(each.agrees for each in held.comparisons)
    what = said("The carried table") if is_carried else said("The table")
    what_within = said("the carried table") if is_carried else said("the table")
    match held.verdict:
        case Verdict.CANNOT_TELL if not held.comparisons:
            return said(
                "{what} was not tested: the probe saw none of these pours from a reading "
                "before it. Pour more, or drain the tank first.",
                what=what,
            )
        case Verdict.CANNOT_TELL if count == 1:
            return said(
                "Cannot tell whether {what} is still good: {pours} agrees with it, but {open}",
                what=what_within,
                pours=pours,
                open=open_words(held),
            )
        case Verdict.CANNOT_TELL:
            return said(
                "Cannot tell whether {what} is still good: {pours} agree with it, but {open}",
                what=what_within,
                pours=pours,
                open=open_words(held),
            )
        case Verdict.GOOD if count == 1:
            return said("{what} is still good: {pours} agrees with it.", what=what, pours=pours)
        case Verdict.GOOD:
            return said("{what} is still good: {pours} agree with it.", what=what, pours=pours)
        case Verdict.REPEAT:
            return said(
                "One of these pours looks wrong, not the table: {agree} of {pours} agree, step "
                "{step} is the first that does not. Take it back with those after it and type "
                "them again, or pour anew.",
                agree=agree,
                pours=pours,
                step=next(each.step for each in held.comparisons if not each.agrees),
            )
        case Verdict.DOUBTFUL if not held.named:
            return said(
                "{what} is in doubt: {agree} of {pours} agree, but chance explains the others "
                "better than any change. Pour once or twice more.",
                what=what,
                agree=agree,
                pours=pours,
            )
        case Verdict.DOUBTFUL:
            likeliest = said(
                "{what} is in doubt. Likeliest: {named}.", what=what, named=named_words(held)
            )
            return together(likeliest, READ_ZERO if held.is_zero_open else POUR_MORE)
        case Verdict.NOT_GOOD:
            return said("{what} is no longer good: {named}.", what=what, named=named_words(held))


def open_words(held: Held) -> Said:
    """Return what these pours cannot show, and what would."""
    if held.is_zero_open:
        return together(
            said("a drifted zero or a moved tip reads like fuel that was in the tank before them."),
            READ_ZERO,
        )
    if max(held.risks, key=lambda kind: held.risks[kind]) == TIP:
        return said(
            "a moved tip reads like fuel that was in the tank before them. Measure its "
            "clearance, or drain the tank as for the first fill, dip it, and pour again."
        )
    return said("too much may have changed where they did not reach. Pour once or twice more.")


def named_words(held: Held) -> Said:
    """Return what changed, or what cannot be told apart."""
    names = [NAMES[kind] for kind in held.named]
    if len(names) == 1:
        return names[0]
    either = names[0]
    for name in names[1:-1]:
        either = said("{first}, {second}", first=either, second=name)
    return said(
        "{first} or {last}; these pours cannot tell them apart", first=either, last=names[-1]
    )


@dataclass(frozen=True, slots=True)
class LaterWords:
    """In which units changes are said, and what a count comes to."""

    volumes: Volumes = field(default_factory=Volumes)
    length: LengthUnit = "mm"
    mm_per_count: float = 1.0
    is_mm: bool = True
    """False where nobody described the probe: then a tip too is told in counts."""

    def change(self, value_mm: float, u_mm: float) -> Said:
        """Return a length with its band."""
        if not self.is_mm:
            value, u = value_mm / self.mm_per_count, u_mm / self.mm_per_count
            return said("{value:.0f} ± {u:.0f} counts", value=value, u=u)
        value, u = from_mm(value_mm, self.length), from_mm(u_mm, self.length)
        if self.length == "mm":
            return said("{value:.1f} ± {u:.1f} mm", value=value, u=u)
        return said("{value:.2f} ± {u:.2f} in", value=value, u=u)

    def least(self, value_mm: float) -> Said:
        """Return a smallest length."""
        if not self.is_mm:
            return said("{value:.0f} counts", value=value_mm / self.mm_per_count)
        value = from_mm(value_mm, self.length)
        if self.length == "mm":
            return said("{value:.1f} mm", value=value)
        return said("{value:.2f} in", value=value)


def possible_sentence(possible: Possible, words: LaterWords) -> Said:
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
        by = words.change(abs(size), u)
        if size >= 0:
            return said("{name}: it hangs {by} higher", name=name, by=by)
        return said("{name}: it hangs {by} lower", name=name, by=by)
    if possible.kind == DENT:
        return said("{name}: {volume} less", name=name, volume=words.volumes.near(size, u))
    counts = {"name": name, "value": float(abs(size)), "u": float(u)}
    if size >= 0:
        sentence = said("{name}: {value:.0f} ± {u:.0f} counts up", **counts)
    else:
        sentence = said("{name}: {value:.0f} ± {u:.0f} counts down", **counts)
    if not words.is_mm:
        return sentence
    length = words.change(abs(size) * words.mm_per_count, u * words.mm_per_count)
    return said("{first}, {second}", first=sentence, second=length)


def could_show_sentence(held: Held, words: LaterWords) -> Said:
    """Return the smallest changes that these pours could have shown.

    Otherwise silence would be taken for proof.
    """
    tip, zero, span, dent = (_least(kind, held.could_show.get(kind), words) for kind in CHANGES)
    return said(
        "Smallest change that these pours could have shown: {tip}, {zero}, {span}, {dent}.",
        tip=tip,
        zero=zero,
        span=span,
        dent=dent,
    )


def _least(kind: str, least: float | None, words: LaterWords) -> Said:
    if least is None:
        return {
            TIP: said("a tip moved not at all"),
            ZERO: said("a zero drifted not at all"),
            SPAN: said("a span changed not at all"),
            DENT: said("a dent not at all"),
        }[kind]
    if kind == TIP:
        return said("a tip moved by {length}", length=words.least(least))
    if kind == DENT:
        return said("a dent of {volume}", volume=words.volumes.about(least))
    if kind == ZERO:
        return said("a zero drifted by {counts:.0f} counts", counts=float(least))
    return said("a span changed by {counts:.0f} counts", counts=float(least))


def listed(held: Held) -> tuple[Possible, ...]:
    """Return what is worth listing: changes and slips that are not out of the question."""
    return tuple(
        each
        for each in held.possible
        if each.probability >= LEAST_LISTED or each.kind in (UNCHANGED, *held.named)
    )
