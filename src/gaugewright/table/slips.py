"""What a typing mistake looks like: the figure meant beside the figure typed."""


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
    steps = typed * 10**decimals
    if typed < 0 or abs(steps - round(steps)) > 1e-6:
        return None
    # A figure half way between two may have been rounded either way.
    exact = meant * 10**decimals
    ways = dict.fromkeys([round(exact), round(exact - 0.06), round(exact + 0.06)])
    found = [_digit_slip(str(max(way, 0)), str(round(steps))) for way in ways]
    return next((kind for kind in found if kind), None)


def _digit_slip(a: str, b: str) -> str | None:
    """Return which slip makes the digits ``b`` of ``a``."""
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
    return {digits[:cut] + digits[cut + 1 :] for cut in range(len(digits))}
