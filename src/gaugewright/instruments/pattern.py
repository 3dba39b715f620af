r"""What a line of text means, by a pattern that the person gives.

Two ways to say it.  A template is the line itself with the figures replaced by
their names, ``counts={counts} temp_c={temperature_c}``; ``{*}`` stands for
anything.  A regular expression begins with ``re:`` and has a group ``counts``:
``re:N0=(?P<counts>\d+)``.

A regular expression that a person types can take longer than the universe is old.
A template cannot; an expression gets `TIME_LIMIT_S` for each line.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

import regex

from gaugewright.errors import FrameError, InputError
from gaugewright.words import said

TIME_LIMIT_S = 0.05
"""Time that a regular expression may take over one line. [s]"""

PATTERN_LIMIT = 500
"""Characters in a pattern."""

_FIELD = re.compile(r"\{([^{}]*)\}")
_NUMBER = r"[+-]?[0-9]+(?:[.,][0-9]+)?"
_HEX = r"[0-9A-Fa-f]+"
_FIELDS = {
    "counts": rf"(?P<counts>{_NUMBER})",
    "counts:hex": rf"(?P<counts_hex>{_HEX})",
    "temperature_c": rf"(?P<temperature_c>{_NUMBER})",
}
_WANTED = "{counts}, {counts:hex}, {temperature_c} or {*}"


@dataclass(frozen=True, slots=True)
class Found:
    """The figures of one line."""

    counts: float
    temperature_c: float | None


class Matcher(Protocol):
    """Takes the figures from a line."""

    def find(self, line: str) -> Found | None:
        """Return the figures; None if the line does not fit.

        Raises `FrameError` if the line fits but its figure is no number, or if
        finding out takes too long.
        """


def compile_pattern(pattern: str) -> Matcher:
    """Return what reads lines by ``pattern``, or raise `InputError` saying what is wrong.

    >>> compile_pattern("counts={counts} temp_c={temperature_c}").find("counts=2512 temp_c=18,4")
    Found(counts=2512.0, temperature_c=18.4)
    >>> compile_pattern("F={counts:hex} {*}").find("F=09D0 t=1A")
    Found(counts=2512.0, temperature_c=None)
    >>> compile_pattern(r"re:N0=(?P<counts>[0-9]+)").find("> N0=17 <")
    Found(counts=17.0, temperature_c=None)
    >>> compile_pattern("level={litres}")
    Traceback (most recent call last):
        ...
    gaugewright.errors.InputError: pattern: {litres} is not known; there are {counts}, \
{counts:hex}, {temperature_c} or {*}
    """
    if len(pattern) > PATTERN_LIMIT:
        raise InputError(
            said(
                "has {number} characters, at most {pattern_limit} are read",
                number=len(pattern),
                pattern_limit=PATTERN_LIMIT,
            ),
            field="pattern",
        )
    if pattern.startswith("re:"):
        return _Expression(pattern[3:])
    return _Template(pattern)


class _Template:
    """Pieces of fixed text with figures between them, matched from the left.

    Each piece is looked for once and never tried again elsewhere, so a line takes
    time in proportion to its length.
    """

    def __init__(self, template: str) -> None:
        text = template.strip()
        self._parts: list[tuple[str, str]] = []
        end = 0
        for field in _FIELD.finditer(text):
            self._add_text(text[end : field.start()])
            self._add_field(field.group(1))
            end = field.end()
        self._add_text(text[end:])
        names = [value for kind, value in self._parts if kind == "field"]
        figures = [name.split(":")[0] for name in names]
        if figures.count("counts") != 1:
            raise InputError(
                said(
                    "must have {{counts}} once, found {template!r}; for example counts={{counts}}",
                    template=template,
                ),
                field="pattern",
            )
        if figures.count("temperature_c") > 1:
            raise InputError(said("has {{temperature_c}} more than once"), field="pattern")
        self._figures = {name: re.compile(_FIELDS[name]) for name in names}

    def _add_text(self, text: str) -> None:
        if "{" in text or "}" in text:
            raise InputError(said("has a single brace in {text!r}", text=text), field="pattern")
        if text:
            self._parts.append(("text", text))

    def _add_field(self, name: str) -> None:
        before = self._parts[-1][0] if self._parts else "text"
        if before != "text" and not (name == "*" and before == "field"):
            raise InputError(said("needs some text before {{{name}}}", name=name), field="pattern")
        if name == "*":
            self._parts.append(("any", ""))
        elif name in _FIELDS:
            self._parts.append(("field", name))
        else:
            raise InputError(
                said("{{{name}}} is not known; there are {wanted}", name=name, wanted=_WANTED),
                field="pattern",
            )

    def find(self, line: str) -> Found | None:
        text = line.strip()
        at = 0
        is_anywhere = False
        groups: dict[str, str] = {}
        for kind, value in self._parts:
            if kind == "any":
                is_anywhere = True
                continue
            if kind == "text":
                place = text.find(value, at) if is_anywhere else at
                if place < 0 or not text.startswith(value, place):
                    return None
                at = place + len(value)
            else:
                pattern = self._figures[value]
                match = pattern.search(text, at) if is_anywhere else pattern.match(text, at)
                if match is None:
                    return None
                groups |= {k: v for k, v in match.groupdict().items() if v is not None}
                at = match.end()
            is_anywhere = False
        return _found(groups) if is_anywhere or at == len(text) else None


class _Expression:
    """A regular expression under a time limit, by the `regex` package."""

    def __init__(self, expression: str) -> None:
        try:
            self._pattern = regex.compile(expression)
        except regex.error as error:
            raise InputError(
                said(
                    "is not a regular expression: {error} in {expression!r}",
                    error=error,
                    expression=expression,
                ),
                field="pattern",
            ) from None
        names = set(self._pattern.groupindex)
        if not names & {"counts", "counts_hex"}:
            raise InputError(
                said("has no group named counts; for example re:N0=(?P<counts>[0-9]+)"),
                field="pattern",
            )
        unknown = names - {"counts", "counts_hex", "temperature_c"}
        if unknown:
            raise InputError(
                said(
                    "has a group {unknown!r}; there are counts, counts_hex and temperature_c",
                    unknown=sorted(unknown)[0],
                ),
                field="pattern",
            )

    def find(self, line: str) -> Found | None:
        try:
            match = self._pattern.search(line.strip(), timeout=TIME_LIMIT_S)
        except TimeoutError:
            raise FrameError(
                said(
                    "the pattern took longer than {time_limit_s:g} s over this line; it "
                    "repeats something that repeats: make it simpler",
                    time_limit_s=TIME_LIMIT_S,
                )
            ) from None
        if match is None:
            return None
        return _found({k: v for k, v in match.groupdict().items() if v is not None})


def _found(groups: dict[str, str]) -> Found | None:
    if "counts_hex" in groups:
        counts = _hexadecimal(groups["counts_hex"])
    elif "counts" in groups:
        counts = _number("counts", groups["counts"])
    else:
        return None
    temperature = groups.get("temperature_c")
    return Found(counts, None if temperature is None else _number("temperature_c", temperature))


def _number(name: str, text: str) -> float:
    """Return the number; a comma is a decimal comma."""
    if re.fullmatch(_NUMBER, text) is None:
        raise FrameError(said("{name} is {text!r}, which is not a number", name=name, text=text))
    return float(text.replace(",", "."))


def _hexadecimal(text: str) -> float:
    if re.fullmatch(_HEX, text) is None:
        raise FrameError(said("counts is {text!r}, which is not a hexadecimal number", text=text))
    return float(int(text, 16))


@dataclass(frozen=True, slots=True)
class Trial:
    """What a pattern found in one line; ``problem`` says why if nothing."""

    line: str
    counts: float | None
    temperature_c: float | None
    problem: str | None


def try_pattern(pattern: str, last_lines: Iterable[str]) -> tuple[Trial, ...]:
    """Show what ``pattern`` finds in each of the last lines that came.

    Raises `InputError` if the pattern itself is wrong.

    >>> [t.problem or t.counts for t in try_pattern("N={counts}", ["N=412", "hello"])]
    [412.0, 'does not fit the pattern']
    """
    matcher = compile_pattern(pattern)
    return tuple(_trial(matcher, line) for line in last_lines)


def _trial(matcher: Matcher, line: str) -> Trial:
    try:
        found = matcher.find(line)
    except FrameError as error:
        return Trial(line, None, None, str(error))
    if found is None:
        return Trial(line, None, None, "does not fit the pattern")
    return Trial(line, found.counts, found.temperature_c, None)
