"""A stranger's speech model, run so that it cannot exhaust the machine.

An ONNX file holds no code of its own, but its arithmetic can ask for any memory and any time, and it can link
to other files. So a file that links to others is refused; the model runs in a child process, in an empty
folder, which is ended when it holds more than 1.2 GB or takes longer than a minute for a line; and no more
sound is read from it than so many words can take. What this does not promise: a fault in onnxruntime itself,
which has the rights of the user here as anywhere.
"""

from __future__ import annotations

import contextlib
import json
import re
import subprocess
import sys
import tempfile
import threading
import time
import weakref
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any, cast

import numpy as np
import numpy.typing as npt
import psutil

from cuelane.base.errors import VoiceError
from cuelane.base.ordinary import read_ordinary, size_in_words
from cuelane.speech.definition import longest_s
from cuelane.speech.piper_config import PiperFacts

MAX_MODEL_BYTES = 300_000_000
"""The largest published Piper voice has 114 MB (from memory)."""

MAX_RESIDENT_BYTES = 1_200_000_000
"""A medium model of 63 MB was measured at 390 MB on a line of 260 letters."""

MAX_ADDRESS_BYTES = 4_000_000_000
MAX_LOAD_S = 120.0
MAX_LINE_TAKES_S = 60.0
_WATCH_S = 0.02
# A protobuf entry with the key "location", by which ONNX names another file to read; its length and its tag
# may be written with padding.
_LINK = re.compile(rb"(?:\x0a|\x8a\x80*\x00)(?:\x08|\x88\x80*\x00)location")


class ModelProcesses:
    """One model in up to two child processes, each speaking a line at a time.

    Raises
    ------
    VoiceError : the file is too large, no ordinary file, or links to others.
    """

    MOST = 2

    def __init__(self, path: Path, facts: PiperFacts, speaker: int | None, name: str) -> None:
        self._name = name
        self._order = {"model": str(path), "facts": facts.model_dump(), "speaker": speaker, "name": name}
        self._idle: list[_Child] = []
        self._lock = threading.Lock()
        try:
            content = read_ordinary(path, MAX_MODEL_BYTES)
        except OSError as error:
            raise VoiceError(f"the model of voice {name} cannot be used: it {error}") from error
        if _LINK.search(content):
            raise VoiceError(
                f"the model {path.name} of voice {name} keeps its numbers in other files, which a voice may "
                "not; save it as one file"
            )

    def speak(self, prepared: str, pace: float, pause_ms: int) -> tuple[npt.NDArray[np.float32], int]:
        """Return (samples of shape (n_frames,), sample_rate); see :meth:`PiperModel.speak`.

        Raises
        ------
        VoiceError : the model failed, or took more memory, time or sound than it may.
        """
        with self._lock:
            child = self._idle.pop() if self._idle else None
        if child is None:
            child = _Child(self._name, self._order)
        answer = child.ask({"text": prepared, "pace": pace, "pause_ms": pause_ms}, longest_s(prepared))
        with self._lock:
            self._idle.append(child)
        if isinstance(answer, str):
            raise VoiceError(answer)
        return answer


class _Child:
    def __init__(self, name: str, order: dict[str, Any]) -> None:
        self._name = name
        self._folder = tempfile.TemporaryDirectory(prefix="cuelane-", ignore_cleanup_errors=True)
        self._fault = ""
        try:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-m", "cuelane.speech._model_child"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                cwd=self._folder.name,
            )
        except OSError as error:
            raise VoiceError(f"the process for voice {name} cannot be started: {error}") from error
        self._end = weakref.finalize(self, _end, self._process, self._folder)
        limits = {"address_bytes": MAX_ADDRESS_BYTES, "model_bytes": MAX_MODEL_BYTES}
        answer = self._exchange({**order, **limits}, MAX_LOAD_S)
        if "error" in answer:
            self._end()
            raise VoiceError(str(answer["error"]))

    def ask(self, request: dict[str, Any], most_s: float) -> tuple[npt.NDArray[np.float32], int] | str:
        """Return (samples, sample_rate) for a line, or why it has none; VoiceError if this child ended."""
        with self._watched(MAX_LINE_TAKES_S):
            answer = self._send(request)
            if "error" in answer:
                return str(answer["error"])
            n_frames, sample_rate = answer["n_frames"], answer["sample_rate"]
            if n_frames > most_s * sample_rate:
                self._fault = (
                    f"it gave {n_frames / sample_rate:.0f} s of sound where {most_s:.0f} s are the most"
                )
                raise self._ended()
            raw = cast(IO[bytes], self._process.stdout).read(4 * n_frames)
            if len(raw) < 4 * n_frames:
                raise self._ended()
        return np.frombuffer(raw, dtype="<f4").astype(np.float32), sample_rate

    def _exchange(self, request: dict[str, Any], within_s: float) -> dict[str, Any]:
        with self._watched(within_s):
            return self._send(request)

    def _send(self, request: dict[str, Any]) -> dict[str, Any]:
        into, out = cast(IO[bytes], self._process.stdin), cast(IO[bytes], self._process.stdout)
        try:
            into.write(json.dumps(request).encode("utf-8") + b"\n")
            into.flush()
            answer = json.loads(out.readline(100_000))
        except (OSError, ValueError) as error:
            raise self._ended() from error
        if not isinstance(answer, dict):
            raise self._ended()
        return answer

    def _ended(self) -> VoiceError:
        self._end()
        why = self._fault or f"its process ended with {self._process.returncode}"
        return VoiceError(f"the model of voice {self._name} was stopped: {why}")

    @contextlib.contextmanager
    def _watched(self, within_s: float) -> Iterator[None]:
        """End the child if it takes longer, or more memory, than it may."""
        done = threading.Event()
        watch = threading.Thread(target=self._watch, args=(done, time.monotonic() + within_s, within_s))
        watch.start()
        try:
            yield
        finally:
            done.set()
            watch.join()

    def _watch(self, done: threading.Event, until_s: float, within_s: float) -> None:
        with contextlib.suppress(psutil.Error):
            process = psutil.Process(self._process.pid)
            while not done.wait(_WATCH_S):
                if process.memory_info().rss > MAX_RESIDENT_BYTES:
                    self._fault = f"it took more than {size_in_words(MAX_RESIDENT_BYTES)} of memory"
                elif time.monotonic() > until_s:
                    self._fault = f"it took longer than {within_s:.0f} s"
                if self._fault:
                    self._process.kill()
                    return


def _end(process: subprocess.Popen[bytes], folder: tempfile.TemporaryDirectory[str]) -> None:
    process.kill()
    for pipe in (process.stdin, process.stdout):
        with contextlib.suppress(OSError):
            cast(IO[bytes], pipe).close()
    process.wait()
    folder.cleanup()
