"""The computer's own voice through pyttsx3, one child process for each line.

On Linux the espeak-ng library comes from the espeakng-loader wheel. SAPI (Windows) and NSSpeechSynthesizer
(macOS) are written from pyttsx3's sources and have not been run by us. IPA from a lexicon cannot be handed
over; the alias is used, or the word as written.
"""

from __future__ import annotations

import importlib.metadata
import io
import json
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
import numpy.typing as npt
import soundfile
from pydantic import Field

from cuelane.base.cores import n_cores
from cuelane.base.errors import VoiceError
from cuelane.base.ordinary import OddFileError, read_ordinary
from cuelane.speech.definition import MAX_LINE_S, Engine, EngineSettings, VoiceDefinition

_SHORTEST_S_PER_LETTER = 0.015
VERSION = 2
"""Part of every recipe: raised when the same text would sound otherwise."""
# Two minutes of the most that a driver writes: stereo, 16 bits, 48 kHz.
_MOST_BYTES = round(MAX_LINE_S * 48_000 * 4) + 4_096

_VoiceId = Annotated[str, Field(max_length=200, pattern=r"^[^\x00-\x1f\x7f]+$")]


class SystemSettings(EngineSettings):
    """The computer's own voice. ``voice_ids``: by platform (linux, darwin, win32), or its default."""

    engine: Literal["system"]
    rate_wpm: Annotated[int, Field(ge=80, le=350)] = 165
    voice_ids: dict[Literal["linux", "darwin", "win32"], _VoiceId] = Field(default_factory=dict)
    timeout_s: Annotated[float, Field(gt=0, le=300, allow_inf_nan=False)] = 30.0


class SystemVoice:
    """pyttsx3's driver for this platform."""

    takes_ipa = False

    def __init__(self, voice: VoiceDefinition) -> None:
        assert isinstance(voice.settings, SystemSettings)
        self._voice = voice
        self._settings = voice.settings

    @property
    def workers(self) -> int:
        return n_cores()

    def recipe(self, pace: float) -> Mapping[str, Any]:
        versions = {}
        for package in _packages():
            try:
                versions[package] = importlib.metadata.version(package)
            except importlib.metadata.PackageNotFoundError as error:
                raise VoiceError(f"the speech engine is missing; install it with: {missing()}") from error
        return {
            "engine": "system",
            "version": VERSION,
            "platform": sys.platform,
            **versions,
            "voice_id": self._voice_id,
            "rate_wpm": self._rate_wpm(pace),
        }

    def speak(
        self, prepared: str, pace: float
    ) -> tuple[npt.NDArray[np.float32], int, tuple[tuple[str, float], ...]]:
        """Return (samples of shape (n_frames,), sample_rate, (word, onset_s) of each) for a prepared text.

        Raises
        ------
        VoiceError : no engine, no such voice, no end within the time allowed, or less sound than words.
        """
        with tempfile.TemporaryDirectory(prefix="cuelane-") as folder:
            # NSSpeechSynthesizer writes AIFF whatever the name says.
            out = Path(folder).resolve() / ("line.aiff" if sys.platform == "darwin" else "line.wav")
            words = self._run(prepared, pace, out)
            try:
                content = io.BytesIO(read_ordinary(out, _MOST_BYTES))
                samples, sample_rate = soundfile.read(content, dtype="float32", always_2d=True)
            except OddFileError as error:
                raise VoiceError(f"what voice {self._voice.name} wrote for {prepared!r} {error}") from error
            except (OSError, soundfile.SoundFileError) as error:
                raise VoiceError(f"voice {self._voice.name} wrote no sound for {prepared!r}") from error
        mono = np.asarray(samples.mean(axis=1), dtype=np.float32)
        letters = sum(char.isalnum() for char in prepared)
        if len(mono) < letters * _SHORTEST_S_PER_LETTER * sample_rate:
            raise VoiceError(
                f"voice {self._voice.name} gave {len(mono) / sample_rate:.2f} s for {prepared!r}: "
                "too short to be whole"
            )
        return mono, sample_rate, tuple((word, sample / sample_rate) for word, sample in words)

    @property
    def _voice_id(self) -> str | None:
        platform = sys.platform if sys.platform in ("darwin", "win32") else "linux"
        return {str(name): voice_id for name, voice_id in self._settings.voice_ids.items()}.get(platform)

    def _rate_wpm(self, pace: float) -> int:
        return round(self._settings.rate_wpm * self._settings.pace * pace)

    def _run(self, prepared: str, pace: float, out: Path) -> list[tuple[str, int]]:
        order = {
            "text": prepared,
            "rate_wpm": self._rate_wpm(pace),
            "voice_id": self._voice_id,
            "out": str(out),
        }
        command = [sys.executable, "-P", "-m", "cuelane.speech._say"]
        try:
            done = subprocess.run(
                command,
                input=json.dumps(order).encode("utf-8"),
                capture_output=True,
                timeout=self._settings.timeout_s,
                check=False,
            )
        except subprocess.TimeoutExpired as error:
            raise VoiceError(
                f"voice {self._voice.name} took over {self._settings.timeout_s:g} s for {prepared!r} and was "
                "stopped; try again, or set timeout_s in its definition"
            ) from error
        except OSError as error:
            raise VoiceError(f"the computer's speech engine cannot be started: {error}") from error
        try:
            answer = json.loads(done.stdout)
        except ValueError:
            last = done.stderr.decode("utf-8", "replace").strip().splitlines()[-1:] or [""]
            answer = {"error": f"its process ended with {done.returncode} {last[0]}".strip()}
        if "error" in answer:
            raise VoiceError(f"voice {self._voice.name}: {answer['error']}")
        return [(str(word), int(sample)) for word, sample in answer["words"]]


def missing() -> str:
    """Return the command that installs what this engine lacks, or nothing."""
    for package in _packages():
        try:
            importlib.metadata.version(package)
        except importlib.metadata.PackageNotFoundError:
            return f"pip install {package}"
    return ""


def _packages() -> tuple[str, ...]:
    return ("pyttsx3", "espeakng-loader") if sys.platform == "linux" else ("pyttsx3",)


ENGINE = Engine(
    name="system",
    about="the computer's own voices",
    settings=SystemSettings,
    load=SystemVoice,
    missing=missing,
)
