"""Every way in which checkwatch refuses: where it happened, what is wrong, what to do instead.

The exit codes are those of docs/reference/exit-codes.md; other programs rely on them.
"""

from typing import NamedTuple

YES = 0
NO = 1
WRONG_USE = 2
WITH_LIMITS = 4
BY_EXCEPTION = 5
CANNOT_TELL = 6
UNDELIVERED = 7


class Problem(NamedTuple):
    """One mistake of a user: a value that is collected and shown with its fellows."""

    where: str
    what: str
    remedy: str = ""

    def __str__(self) -> str:
        head = f"{self.where}: {self.what}" if self.where else self.what
        return f"{head}; {self.remedy}" if self.remedy else head


class CheckwatchError(Exception):
    """A refusal with its exit code; carries one problem or several."""

    exit_code = WRONG_USE

    def __init__(self, *problems: Problem) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = problems


class WrongUse(CheckwatchError):
    """What was typed or loaded cannot be read, or asks for what cannot be."""


class CannotTell(CheckwatchError):
    """There is no answer: no book, an unknown machine, a book that is not believed."""

    exit_code = CANNOT_TELL
