"""Numbers given as options, with a decimal comma too."""

from collections.abc import Iterator
from contextlib import contextmanager

from gaugewright.errors import InputError
from gaugewright.table.delimited import number


def option_number(text: str, option: str) -> float:
    """Return the number of an option; `InputError` names the option.

    >>> option_number("1,5", "--pitch")
    1.5
    """
    return number(text, field=option)


def maybe_option_number(text: str | None, option: str) -> float | None:
    """Return the number of an option that may be left out.

    >>> maybe_option_number(None, "--residual") is None
    True
    """
    return None if text is None else option_number(text, option)


def not_negative(text: str | None, option: str) -> float | None:
    """Return an uncertainty given as an option; `InputError` if it is below 0.

    >>> not_negative("1,5", "--u-tip")
    1.5
    """
    value = maybe_option_number(text, option)
    if value is not None and value < 0:
        raise InputError(f"must be 0 or more, found {text}", field=option)
    return value


@contextmanager
def naming_options(**options: str) -> Iterator[None]:
    """Put options' names in place of the arguments' that an `InputError` names.

    >>> with naming_options(within_l="--within"):
    ...     raise InputError("must be above 0 L, found -1", field="within_l")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: --within: must be above 0 L, found -1
    """
    try:
        yield
    except InputError as error:
        if error.field not in options:
            raise
        raise InputError(error.problem, field=options[error.field]) from None
