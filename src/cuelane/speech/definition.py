"""What a voice is: what its file says, where it may read, and what an engine offers.

Everything here is the same for all engines; what one engine asks for and does stands in its own module.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any, Literal, Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt
from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from pydantic_core import PydanticCustomError

from cuelane.base.errors import Mark, PlanError, Problem
from cuelane.base.ordinary import OddFileError, read_ordinary
from cuelane.base.paces import MAX_PACE, MIN_PACE

MAX_DEFINITION_BYTES = 100_000
MAX_LINE_S = 120.0
"""The longest sound of one line, spoken or recorded."""


def _without_control(name: str) -> str:
    """Return `name` as it is, or raise: no control character is part of the name of a file or a voice."""
    for place, sign in enumerate(name, 1):
        if unicodedata.category(sign) == "Cc":
            raise PydanticCustomError(
                "control_character",
                "a file's name has no control characters, but character {place} of this one is {code}; "
                "write the name again without it",
                {"place": place, "code": f"U+{ord(sign):04X}"},
            )
    return name


FileName = Annotated[str, Field(min_length=1, max_length=400), AfterValidator(_without_control)]
_Seconds = Annotated[float, Field(ge=0, le=2, allow_inf_nan=False)]

# A person says 10 to 20 letters a second; a sign of Chinese takes a quarter of a second. Chosen so that no
# voice that speaks reaches it.
_MOST_S_PER_SIGN = 1.0
_MOST_S_BESIDES = 5.0


class StrictModel(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Estimate(StrictModel):
    """How long a text takes at pace 1: seconds a letter, group of vowels, comma and sentence.

    ``borrowed``: the figures are another voice's. They do for a timetable, but no line is judged by them.
    """

    letter_s: _Seconds = 0.03
    vowel_s: _Seconds = 0.08
    comma_s: _Seconds = 0.33
    sentence_s: _Seconds = 0.19
    borrowed: bool = False


class MeasuredQuality(StrictModel):
    """How a voice did when it was measured, with ``tests/benchmarks/bench_voices.py``; see there.

    ``n_cues`` spoken; ``words_per_min`` at pace 1, pauses within a line included; ``cpu_s_per_s`` processor
    seconds for a second of speech, ``cached_cpu_s_per_s`` the same from the store, and ``times_natural`` how
    many times the light voice's that is, measured in turns; ``dnsmos`` the overall score, 1 to 5; ``recall``
    the part of the words, and ``character_match`` of the letters, that a recogniser understood; ``weakest``
    what it misheard.
    """

    n_cues: Annotated[int, Field(ge=1, le=100_000)]
    words_per_min: Annotated[float, Field(ge=20, le=600, allow_inf_nan=False)]
    cpu_s_per_s: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] | None = None
    cached_cpu_s_per_s: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] | None = None
    times_natural: Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)] | None = None
    dnsmos: Annotated[float, Field(ge=0, le=5, allow_inf_nan=False)]
    recall: Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
    character_match: Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
    weakest: Annotated[list[Annotated[str, Field(max_length=200)]], Field(max_length=40)] = []


MEASURED_HOW = (
    "nobody listened: DNSMOS is the overall score of ITU-T P.835 as the model of the package speechmos "
    "judges it; words and letters are those that Whisper base (package faster-whisper, int8) understood in "
    "lines of the demos and the starter plans; the computer's own voices were those of Linux (eSpeak NG); "
    "tests/benchmarks/bench_voices.py repeats it"
)
"""How the figures of `MeasuredQuality` came about, for people."""

AIM_CHARACTER_MATCH = 0.95
"""Of the letters, at least: a voice that misses it says so. Chosen: one letter in twenty."""

Manner = Literal["breathing", "stretching"]
"""What slows a voice down beside its role: the words of a breath block, of a flow, of a cool-down."""

RolePace = Annotated[float, Field(ge=MIN_PACE, le=MAX_PACE, allow_inf_nan=False)]
RoleName = Annotated[str, Field(min_length=1, max_length=20)]


class EngineSettings(StrictModel):
    """What every definition may say; an engine's own settings add to it."""

    engine: str
    title: Annotated[str, Field(max_length=200)] = ""
    language: Annotated[str, Field(pattern=r"^[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*$", max_length=40)] = "en"
    pace: Annotated[float, Field(ge=MIN_PACE, le=1.5, allow_inf_nan=False)] = 1.0
    pace_by_role: Annotated[dict[RoleName, RolePace], Field(max_length=40)] = Field(default_factory=dict)
    pace_by_manner: Annotated[dict[Manner, RolePace], Field(max_length=10)] = Field(default_factory=dict)
    lexicon: FileName | None = None
    licence: Annotated[str, Field(max_length=2000)] = ""
    credit: Annotated[str, Field(max_length=2000)] = ""
    estimate: Estimate = Estimate()
    measured: MeasuredQuality | None = None


@dataclass(frozen=True)
class VoiceDefinition:
    """A voice as its file says, and where that file is.

    ``root`` is the folder it may read in; ``plan_folder`` where further voices are looked for; ``own`` says
    that it came with cuelane, and may name an installed package.
    """

    name: str
    settings: EngineSettings
    source: Path
    root: Path
    plan_folder: Path | None = None
    own: bool = field(default=False, kw_only=True)

    @property
    def engine(self) -> str:
        return self.settings.engine

    @property
    def title(self) -> str:
        return self.settings.title or self.name

    @property
    def language(self) -> str:
        return self.settings.language

    @property
    def licence(self) -> str:
        return self.settings.licence

    @property
    def credit(self) -> str:
        return self.settings.credit

    def pace_for(self, role: str, pace: float, manner: str | None = None) -> float:
        """Return the pace at which a line of `role` is spoken, where the whole is spoken at `pace`.

        A line of a `manner` is spoken at the slower of the two: what is slow for breathing is slow enough
        for a caution.
        """
        own: float = self.settings.pace_by_role.get(role, 1.0)
        own = min([own, *(value for name, value in self.settings.pace_by_manner.items() if name == manner)])
        return min(MAX_PACE, max(MIN_PACE, round(pace * own, 4)))

    def path_of(self, written: str, key: str) -> Path:
        """Return the file that `key` of this definition names, which must lie inside `root`, links followed.

        Raises
        ------
        PlanError : it lies elsewhere, is not there, or is no ordinary file.
        """
        try:
            path = self.inside(self.source.parent / written)
            is_file, exists = path is not None and path.is_file(), path is not None and path.exists()
        except (OSError, ValueError) as error:
            raise self.problem(key, f"{written[:80]!r} {_reason(error)}") from error
        if path is None:
            raise self.problem(key, f"{written!r} lies outside {self.root}, which a voice may not read")
        if not exists:
            raise self.problem(key, f"there is no file {written!r} beside this definition")
        if not is_file:
            raise self.problem(key, f"{written!r} is not an ordinary file")
        return path

    def inside(self, path: Path) -> Path | None:
        """Return `path` with its links resolved, or None if it then lies outside `root`.

        Raises
        ------
        OddFileError : it cannot be followed: links in a circle, a NUL, a name too long.
        """
        try:
            resolved = path.resolve()
            return resolved if resolved.is_relative_to(self.root.resolve()) else None
        except (OSError, ValueError, RuntimeError) as error:
            raise OddFileError(_reason(error)) from error

    def problem(self, key: str, message: str) -> PlanError:
        """Return an error that points at `key` in this definition's file."""
        return PlanError([problem_at(self.source, key, message)])


@runtime_checkable
class Voice(Protocol):
    """What a synthetic voice offers: raw speech for a prepared text, and the facts that decide its sound."""

    @property
    def takes_ipa(self) -> bool:
        """Whether ``[[…]]`` in a prepared text is read as IPA."""

    @property
    def workers(self) -> int:
        """How many texts may be spoken at once."""

    def recipe(self, pace: float) -> Mapping[str, Any]:
        """Return every fact that changes what is heard: engine, versions, model, settings."""

    def speak(
        self, prepared: str, pace: float
    ) -> tuple[npt.NDArray[np.float32], int, tuple[tuple[str, float], ...]]:
        """Return (samples of shape (n_frames,), sample_rate, (word, onset_s) of each) for a prepared text."""


@dataclass(frozen=True)
class ClipRecording:
    """A file that holds a text, and the hash of its bytes."""

    path: Path
    sha256: str
    gain_db: float


@runtime_checkable
class Recordings(Protocol):
    """What a folder of a person's recordings offers."""

    @property
    def fallback(self) -> str:
        """The name of the voice for lines that were not recorded."""

    def find(self, text: str) -> ClipRecording | str:
        """Return the recording of `text`, or the reason why there is none."""


@dataclass(frozen=True)
class Engine:
    """One way to speak, as it is registered in ``engines``.

    ``settings`` is the model of its definitions, with ``engine`` as a Literal of ``name``; ``load`` makes a
    voice of a definition, and loads no model before the first line; ``missing`` says what is to be installed,
    or nothing; ``synthetic`` is False for recordings of people, whose sound is never shaped.
    """

    name: str
    about: str
    settings: type[EngineSettings]
    load: Callable[[VoiceDefinition], Voice | Recordings]
    missing: Callable[[], str]
    synthetic: bool = True


def voices_folder() -> Path:
    """Return the folder of cuelane's own voices: in the package, else at the top of the checkout."""
    packaged = Path(str(files("cuelane").joinpath("voices")))
    return packaged if packaged.is_dir() else Path(__file__).resolve().parents[3] / "voices"


def longest_s(prepared: str) -> float:
    """Return the most seconds of sound that speaking `prepared` may come to."""
    return min(MAX_LINE_S, _MOST_S_BESIDES + _MOST_S_PER_SIGN * len(prepared))


def problem_at(source: Path, key: str, message: str) -> Problem:
    """Return a problem at the line that sets `key`, or at the file's first; tomllib tells no positions."""
    try:
        lines = read_ordinary(source, MAX_DEFINITION_BYTES).decode("utf-8").splitlines()
    except (OSError, ValueError):
        lines = []
    for number, line in enumerate(lines, 1):
        if key and re.match(rf"\s*\[?\s*{re.escape(key)}\b", line):
            return Problem(Mark(str(source), number, 1), message, line[:200])
    return Problem(Mark(str(source), 1, 1), message)


def _reason(error: Exception) -> str:
    if isinstance(error, OddFileError):
        return str(error)
    if isinstance(error, ValueError):
        return "holds a NUL or a sign that no file name can have"
    if isinstance(error, RuntimeError):
        return "is a link that leads back to itself"
    return f"cannot be reached ({getattr(error, 'strerror', None) or error})"
