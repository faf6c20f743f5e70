"""How long each line of a session lasts, and which clip sounds: estimated at first, then spoken.

The arrangement decides what is offered, and what is offered decides what must be spoken. So a session is
arranged with estimates, what that offered is spoken, and it is arranged again with real lengths, until no
line is new: two or three times in practice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from cuelane.audio.clip import Clip
from cuelane.audio.store import ClipStore
from cuelane.base.errors import AudioFileError, VoiceError
from cuelane.base.units import SAMPLE_RATE
from cuelane.session.arrange import Arranged, Sounding, arrange
from cuelane.session.candidates import Candidate
from cuelane.session.model import Session
from cuelane.speech.definition import VoiceDefinition
from cuelane.speech.estimate import estimate_seconds
from cuelane.speech.speak import clip_from_file, speak_all

# Spoken in batches, so that memory does not grow with the number of lines.
_BATCH = 64

Progress = Callable[[int, int], None]


@dataclass
class Voiced:
    """An arranged session, and how it was voiced.

    ``fallbacks`` maps a text to the voice that spoke it instead and why; ``estimated`` says that lengths are
    estimates and no clip exists. ``sources`` maps a clip's hash to its text and the recording that a script
    names for it, if one does.
    """

    arranged: Arranged
    voice: VoiceDefinition
    estimated: bool
    fallbacks: dict[str, str] = field(default_factory=dict)
    n_synthesised: int = 0
    sources: dict[str, tuple[str, Path | None]] = field(default_factory=dict)


def voiced(
    session: Session,
    voice: VoiceDefinition,
    *,
    store: ClipStore,
    pace: float = 1.0,
    speak: bool = True,
    progress: Progress | None = None,
) -> Voiced:
    """Return the session arranged with the voice's real lengths, or with estimates if not to `speak`.

    Raises
    ------
    VoiceError : the engine is missing or failed.
    AudioFileError : a recording that a script names cannot be used.
    """
    sounding: dict[tuple[str, str | None], Sounding] = {}
    result = Voiced(_estimate(session, voice, pace, sounding), voice, estimated=not speak)
    while speak:
        missing = _missing(result.arranged.offered, sounding)
        if not missing:
            break
        recordings = [candidate for candidate in missing if candidate.clip]
        for candidate in recordings:
            sounding[_key(candidate)] = found = _recording(candidate, store)
            result.sources[found.clip or ""] = candidate.text, Path(_key(candidate)[1] or "")
        texts = list(dict.fromkeys(candidate.text for candidate in missing if not candidate.clip))
        for first in range(0, len(texts), _BATCH):
            batch = texts[first : first + _BATCH]

            def report(done: int, _: int, first: int = first, total: int = len(texts)) -> None:
                if progress:
                    progress(first + done, total)

            spoken = speak_all(batch, voice, store=store, pace=pace, progress=report)
            result.fallbacks |= spoken.fallbacks
            result.n_synthesised += spoken.n_synthesised
            for text in batch:
                clip = spoken.clips[text]
                result.sources[clip.sha256] = text, None
                sounding[text, None] = Sounding(clip.n_frames, clip.sha256, clip.voice, clip.words)
        result.arranged = _estimate(session, voice, pace, sounding)
    return result


def spoken_again(sha256: str, voiced: Voiced, *, store: ClipStore, pace: float) -> Clip | None:
    """Return a clip that is gone from the store, made anew; None if what is made now sounds otherwise.

    Raises
    ------
    VoiceError : the engine failed, or the recording that a script names is lost.
    """
    text, recording = voiced.sources.get(sha256, ("", None))
    if recording is not None:
        clip = clip_from_file(recording, text, "recording", store=store)
    elif text:
        clip = speak_all([text], voiced.voice, store=store, pace=pace).clips[text]
    else:
        return None
    return clip if clip.sha256 == sha256 else None


def _key(candidate: Candidate) -> tuple[str, str | None]:
    if candidate.clip is None:
        return candidate.text, None
    folder = Path(candidate.mark.file).parent if candidate.mark else Path()
    return candidate.text, str(folder / candidate.clip)


def _missing(
    offered: Iterable[Candidate], sounding: dict[tuple[str, str | None], Sounding]
) -> list[Candidate]:
    return [candidate for candidate in offered if _key(candidate) not in sounding]


def _estimate(
    session: Session,
    voice: VoiceDefinition,
    pace: float,
    sounding: dict[tuple[str, str | None], Sounding],
) -> Arranged:
    """Return the session arranged with the lengths known so far and estimates for the rest."""
    estimates: dict[str, Sounding] = {}

    def of(candidate: Candidate) -> Sounding:
        known = sounding.get(_key(candidate))
        if known is not None:
            return known
        if candidate.text not in estimates:
            seconds = estimate_seconds(candidate.text, voice, pace)
            estimates[candidate.text] = Sounding(max(1, round(seconds * SAMPLE_RATE)))
        return estimates[candidate.text]

    return arrange(session, of, SAMPLE_RATE)


def _recording(candidate: Candidate, store: ClipStore) -> Sounding:
    """Return the recording that a script cue names, levelled and trimmed like any clip."""
    path = Path(_key(candidate)[1] or "")
    try:
        clip = clip_from_file(path, candidate.text, "recording", store=store)
    except VoiceError as error:
        raise AudioFileError(f"{candidate.mark}: {error}") from error
    return Sounding(clip.n_frames, clip.sha256, "recording")
