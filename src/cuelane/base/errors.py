"""Errors that a person can act on.

::

    CuelaneError                 root; the command line prints it and exits with its exit_code
    ├── UsageError          (2)  the command was called with something it cannot use
    ├── PlanError           (2)  a plan is wrong; holds every problem found, each with its place
    ├── AudioFileError      (2)  an audio or schedule file given to us cannot be used
    ├── ScheduleError       (1)  the plan is legal, but a must-cue does not fit
    ├── VoiceError          (3)  a speech engine is missing or failed
    └── DeliveryError       (3)  an encoder or the disk failed
    SignalError                  a plain ValueError: our own code passed a wrong array

A late cue found by ``check`` is a result, not an exception.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, order=True)
class Mark:
    """A place in a file a person wrote: 1-based line and column."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True)
class Problem:
    """One thing wrong in a plan: where, what came, what was expected, and what to do.

    ``source_line`` is the offending line as written; ``hint`` may suggest the nearest valid word.
    """

    mark: Mark
    message: str
    source_line: str = ""
    hint: str = ""

    def __str__(self) -> str:
        text = f"{self.mark}: {self.message}"
        if self.source_line:
            caret = " " * (self.mark.column - 1) + "^"
            text += f"\n    {self.source_line.rstrip()}\n    {caret}"
        if self.hint:
            text += f"\n    {self.hint}"
        return text


class CuelaneError(Exception):
    """Root of every error that a person can put right, in a plan or on the machine; no programming fault."""

    exit_code: ClassVar[int] = 2


class UsageError(CuelaneError):
    """The command was called with something it cannot use."""


class PlanError(CuelaneError, ValueError):
    """A plan is wrong; ``problems`` holds all that was found, in file order."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        super().__init__("\n".join(str(problem) for problem in problems))


class AudioFileError(CuelaneError):
    """An audio or schedule file given to us cannot be read or does not hold what it should."""


class ScheduleError(CuelaneError):
    """A legal plan asks for more words than the time holds."""

    exit_code = 1


class VoiceError(CuelaneError):
    """A speech engine is missing, failed, or gave nothing."""

    exit_code = 3


class DeliveryError(CuelaneError):
    """An encoder or the disk failed."""

    exit_code = 3


class SignalError(ValueError):
    """Our own code passed an array of the wrong shape, type or content: a fault in cuelane."""
