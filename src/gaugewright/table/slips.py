"""What a typing mistake looks like: the figure meant beside the figure typed."""

from itertools import pairwise


def slip(meant: float, typed: float, decimals: int) -> str | None:
    """Return which slip of the fingers makes ``typed`` of ``meant``, ``None`` if none does.

    Both are looked at with ``decimals`` decimals.  The kinds: ``wrong_sign``,
    ``decimal_slip``, ``swapped_digits``, ``wrong_digit``, ``digit_missing``,
    ``digit_extra``.

    >>> slip(1200, 2100, 0), slip(45.5, 455, 1), slip(45.5, 46.5, 1), slip(45.5, 80, 1)
    ('swapped_digits', 'decimal_slip', 'wrong_digit', None)
    """
    half = 0.5000001 * 10**-decimals
    if abs(typed + meant) <= half and typed < -half:
        return "wrong_sign"
    shown = round(meant, decimals)
    for power in (1, 2, 3):
        if shown and (
            abs(typed - shown * 10**power) <= half or abs(typed * 10**power - meant) <= half
        ):
            return "decimal_slip"
    if typed < 0 or abs(typed * 10**decimals - round(typed * 10**decimals)) > 1e-6:
        return None
    a, b = (str(round(v * 10**decimals)) for v in (meant, typed))
    width = max(len(a), len(b))
    padded_a, padded_b = a.rjust(width, "0"), b.rjust(width, "0")
    apart = [place for place in range(width) if padded_a[place] != padded_b[place]]
    if len(apart) == 2 and apart[1] == apart[0] + 1:
        first, second = apart
        if padded_a[first] == padded_b[second] and padded_a[second] == padded_b[first]:
            return "swapped_digits"
    if len(apart) == 1 and len(a) == len(b):
        return "wrong_digit"
    if len(b) == len(a) - 1 and b in _one_left_out(a):
        return "digit_missing"
    if len(a) == len(b) - 1 and a in _one_left_out(b):
        return "digit_extra"
    return "wrong_digit" if len(apart) == 1 else None


def _one_left_out(digits: str) -> set[str]:
    return {before + after for before, after in _halves(digits)}


def _halves(digits: str) -> list[tuple[str, str]]:
    return [(digits[:cut], digits[end:]) for cut, end in pairwise(range(len(digits) + 1))]
