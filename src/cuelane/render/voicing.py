"""How long each line of a session lasts, and which clip is played: estimated at first, then spoken.

Which lines are offered depends on their lengths, and their lengths are known only once they are spoken. So a
session is arranged with estimates, the lines that were offered are spoken, and it is arranged again with real
lengths, until no new line is offered: two or three times in practice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from cuelane.audio.clip import Clip
from cuelane.audio.store import ClipStore
from cuelane.base.errors import AudioFileError, VoiceError
from cuelane.base.units import SAMPLE_RATE
from cuelane.render.line_keys import Key, key_of
from cuelane.session.arrange import Arranged, Sounding, arrange
from cuelane.session.candidates import Candidate
from cuelane.session.model import Session
from cuelane.speech.definition import VoiceDefinition
from cuelane.speech.estimate import LineLengths
from cuelane.speech.speak import clip_from_file, speak_all

# Spoken in batches, so that memory does not grow with the number of lines.
_BATCH = 64

Progress = Callable[[int, int], None]


@dataclass
class Voiced:
    """An arranged session, and how it was voiced.

    ``fallbacks`` maps a text to the voice that spoke it instead and why; ``estimated`` says that lengths are
    estimates and no clip exists. ``sources`` maps a clip's hash to its text, the pace it was spoken at, and
    the recording that a script names for it, if one does. ``doubts`` maps a text to what a rule hears wrong
    in its clip, worth a listen.
    """

    arranged: Arranged
    voice: VoiceDefinition
    estimated: bool
    fallbacks: dict[str, str] = field(default_factory=dict)
    doubts: dict[str, str] = field(default_factory=dict)
    n_synthesised: int = 0
    sources: dict[str, tuple[str, float, Path | None]] = field(default_factory=dict)


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
    sounding: dict[Key, Sounding] = {}
    result = Voiced(_estimate(session, voice, pace, sounding), voice, estimated=not speak)
    while speak:
        missing = _missing(result.arranged.offered, voice, pace, sounding)
        if not missing:
            break
        recordings = {key: candidate for key, candidate in missing.items() if candidate.clip}
        for key, candidate in recordings.items():
            sounding[key] = found = _recording(candidate, store)
            result.sources[found.clip or ""] = candidate.text, 1.0, Path(key.recording or "")
        _speak(result, [key for key in missing if key not in recordings], sounding, store, progress)
        result.arranged = _estimate(session, voice, pace, sounding)
    return result


def _speak(
    result: Voiced,
    keys: list[Key],
    sounding: dict[Key, Sounding],
    store: ClipStore,
    progress: Progress | None,
) -> None:
    """Speak lines, those of one pace together, and note how they sound."""
    done = 0
    for pace in sorted({key.pace for key in keys}):
        texts = [key.text for key in keys if key.pace == pace]
        for first in range(0, len(texts), _BATCH):
            batch = texts[first : first + _BATCH]

            def report(n: int, _: int, before: int = done) -> None:
                if progress:
                    progress(before + n, len(keys))

            spoken = speak_all(batch, result.voice, store=store, pace=pace, progress=report)
            done += len(batch)
            result.fallbacks |= spoken.fallbacks
            result.doubts |= spoken.doubts
            result.n_synthesised += spoken.n_synthesised
            for text in batch:
                clip = spoken.clips[text]
                result.sources[clip.sha256] = text, pace, None
                sounding[Key(text, pace)] = Sounding(clip.n_frames, clip.sha256, clip.voice, clip.words)


def spoken_again(sha256: str, voiced: Voiced, *, store: ClipStore) -> Clip | None:
    """Return a clip that is gone from the store, made anew; None if what is made now sounds otherwise.

    Raises
    ------
    VoiceError : the engine failed, or the recording that a script names is lost.
    """
    text, pace, recording = voiced.sources.get(sha256, ("", 1.0, None))
    if recording is not None:
        clip = clip_from_file(recording, text, "recording", store=store)
    elif text:
        clip = speak_all([text], voiced.voice, store=store, pace=pace).clips[text]
    else:
        return None
    return clip if clip.sha256 == sha256 else None


def _missing(
    offered: Iterable[Candidate], voice: VoiceDefinition, pace: float, sounding: dict[Key, Sounding]
) -> dict[Key, Candidate]:
    keys = {key_of(candidate, voice, pace): candidate for candidate in offered}
    return {key: candidate for key, candidate in keys.items() if key not in sounding}


def _estimate(
    session: Session, voice: VoiceDefinition, pace: float, sounding: dict[Key, Sounding]
) -> Arranged:
    """Return the session arranged with the lengths known so far and estimates for the rest."""
    estimates: dict[Key, Sounding] = {}
    lengths = LineLengths(voice)

    def of(candidate: Candidate) -> Sounding:
        key = key_of(candidate, voice, pace)
        known = sounding.get(key)
        if known is not None:
            return known
        if key not in estimates:
            seconds = lengths.seconds(key.text, key.pace)
            estimates[key] = Sounding(max(1, round(seconds * SAMPLE_RATE)))
        return estimates[key]

    return arrange(session, of, SAMPLE_RATE)


def _recording(candidate: Candidate, store: ClipStore) -> Sounding:
    """Return the recording that a script cue names, levelled and trimmed like any clip."""
    folder = Path(candidate.mark.file).parent if candidate.mark else Path()
    path = folder / (candidate.clip or "")
    try:
        clip = clip_from_file(path, candidate.text, "recording", store=store)
    except VoiceError as error:
        raise AudioFileError(f"{candidate.mark}: {error}") from error
    return Sounding(clip.n_frames, clip.sha256, "recording")
