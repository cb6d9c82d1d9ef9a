"""Problems in what the user gave: collected while reading, shown together, exit status 2."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

LONGEST_FOUND = 240
"""Letters of a value that are shown."""


def printable(text: str) -> str:
    r"""The same with line ends and other signs that cannot be seen written as escapes.

    Examples
    --------
    >>> printable("a\nb")
    'a\\nb'
    """
    return "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text
    )


@dataclass(frozen=True, slots=True)
class InputProblem:
    """One thing the user must mend.

    Parameters
    ----------
    file : the file that holds the problem, as the user knows it
    key : run-file key, layer, column or row; empty where the whole file is meant
    found : the value found, as text
    allowed : what is allowed, with its range and unit
    mend : how to mend it; may be empty
    """

    file: str
    key: str
    found: str
    allowed: str
    mend: str = ""

    def __str__(self) -> str:
        """One line, whatever the files hold: a value may be a whole page, or steer a terminal."""
        where = f"{self.file}: {self.key}" if self.key else self.file
        found = self.found
        if len(found) > LONGEST_FOUND:
            found = found[: LONGEST_FOUND - 1] + "…"
        text = f"{where}: found {found}; allowed: {self.allowed}"
        return printable(f"{text}. {self.mend}" if self.mend else text)


class InputRefused(Exception):
    """The input cannot be planned with; carries every problem found so far."""

    def __init__(self, problems: list[InputProblem]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = problems


@dataclass(slots=True)
class ProblemCollector:
    """Gathers problems, so that one run of `check` shows them all."""

    problems: list[InputProblem] = field(default_factory=list)

    def add(self, problem: InputProblem) -> None:
        self.problems.append(problem)

    @contextmanager
    def collecting(self) -> Iterator[None]:
        """Run a block; what it refuses is kept and the run goes on."""
        try:
            yield
        except InputRefused as refused:
            self.problems.extend(refused.problems)

    def raise_if_any(self) -> None:
        if self.problems:
            raise InputRefused(self.problems)
