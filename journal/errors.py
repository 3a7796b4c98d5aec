"""Every error this project raises on purpose.

`JournalError` stops what was asked; `Problem` is data that travels beside good results, so that one bad
file never stops the rest. Neither knows an exit code or an HTTP status: the command line maps them, in one place.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath


class JournalError(Exception):
    """Something stops the work: one sentence that names the offending value, one that says what to do next."""

    def __init__(self, problem: str, next_step: str) -> None:
        super().__init__(problem, next_step)
        self.problem = problem
        self.next_step = next_step

    def __str__(self) -> str:
        return f"{self.problem}\n  Next: {self.next_step}"


@dataclass(frozen=True, slots=True)
class Problem:
    """One file that could not be used, why, and what to do about it."""

    file: str
    problem: str
    next_step: str

    def about_the_file(self) -> str:
        """The problem without the file's name, where the reader knows which is meant, or is not to know its name."""
        name = PurePath(self.file).name
        return f"The file{self.problem.removeprefix(name)}" if self.problem.startswith(f"{name} ") else self.problem
