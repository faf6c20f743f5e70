"""Texts to clips: each distinct text spoken once, over all cores, through the clip store."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from cuelane.audio.clip import Clip, content_hash
from cuelane.audio.store import ClipStore, recipe_key
from cuelane.base.errors import UsageError, VoiceError
from cuelane.base.paces import MAX_PACE, MIN_PACE
from cuelane.base.units import SAMPLE_RATE, SAMPLE_RATES
from cuelane.speech.definition import (
    ClipRecording,
    Recordings,
    Voice,
    VoiceDefinition,
    longest_s,
)
from cuelane.speech.engines import load_voice
from cuelane.speech.finish import Finished, finish
from cuelane.speech.line_length import known_seconds
from cuelane.speech.recipes import prepared_for, recorded_facts, synthetic_facts
from cuelane.speech.recorded import read_recording, recording_sha256
from cuelane.speech.sound_doubts import sound_doubt
from cuelane.speech.voices import find_voice
from cuelane.speech.wording import lexicon_of

Progress = Callable[[int, int], None]
Result = TypeVar("Result")

_MOST_FALLBACKS = 4
# A line has 600 signs; numbers in words and a lexicon's aliases make it longer, never so much.
_MOST_PREPARED = 8_000


@dataclass
class Spoken:
    """What came of speaking: a clip for every text, and what to tell about it.

    ``fallbacks`` : text → the voice that spoke instead, and why.
    ``n_synthesised`` : clips made now, not found in the store.
    ``reductions_db`` : of those, the deepest cut made to keep the peaks of each under their bound.
    ``doubts`` : text → what a rule hears wrong in its clip (see `sound_doubts`); worth a listen.
    """

    clips: dict[str, Clip]
    fallbacks: dict[str, str] = field(default_factory=dict)
    n_synthesised: int = 0
    reductions_db: dict[str, float] = field(default_factory=dict)
    doubts: dict[str, str] = field(default_factory=dict)


def speak_all(
    texts: Iterable[str],
    voice: VoiceDefinition,
    *,
    store: ClipStore,
    pace: float = 1.0,
    progress: Progress | None = None,
) -> Spoken:
    """Return a clip for every text in `texts`, spoken by `voice` or found in `store`.

    Parameters
    ----------
    pace : 0.8 to 1.15 times the voice's own. Recordings keep the pace they were spoken at.
    progress : called with (clips done, clips in all), from the calling thread.

    Raises
    ------
    VoiceError : an engine is missing or failed, or a text has nothing to say; names the text.
    PlanError : a voice's own files are wrong.
    DeliveryError : the store cannot be written.
    """
    if not MIN_PACE <= pace <= MAX_PACE:
        raise UsageError(f"the pace can be {MIN_PACE} to {MAX_PACE} times the voice's own, got {pace}")
    distinct = list(dict.fromkeys(texts))
    count = _Count(len(distinct), progress)
    spoken = _speak(distinct, voice, store, pace, count, (voice.name,))
    return dataclasses.replace(spoken, clips={text: spoken.clips[text] for text in distinct})


def clip_from_file(path: Path, text: str, voice_name: str, *, store: ClipStore) -> Clip:
    """Return a person's own recording of `text` as a clip, levelled and trimmed like any other.

    Raises
    ------
    VoiceError : lost, not audio, silent, or longer than two minutes.
    """
    recording = ClipRecording(path, recording_sha256(path), 0.0)
    return _from_recording(recording, text, voice_name, store)[0]


class _Count:
    def __init__(self, total: int, progress: Progress | None) -> None:
        self._done, self._total, self._progress = 0, total, progress

    def add(self, n: int) -> None:
        self._done += n
        if self._progress is not None:
            self._progress(self._done, self._total)


def _speak(
    texts: list[str],
    voice: VoiceDefinition,
    store: ClipStore,
    pace: float,
    count: _Count,
    chain: tuple[str, ...],
) -> Spoken:
    loaded = load_voice(voice)
    if isinstance(loaded, Recordings):
        return _play(texts, voice, loaded, store, pace, count, chain)
    return _synthesise(texts, voice, loaded, store, pace, count)


def _synthesise(
    texts: list[str], voice: VoiceDefinition, engine: Voice, store: ClipStore, pace: float, count: _Count
) -> Spoken:
    lexicon = lexicon_of(voice)
    facts = synthetic_facts(engine, pace)
    by_prepared: dict[str, list[str]] = {}
    for text in texts:
        prepared = prepared_for(engine, text, voice, lexicon)
        if not prepared:
            raise VoiceError(f"there is nothing to say in {text!r}; give it words or take it out")
        if len(prepared) > _MOST_PREPARED:
            raise VoiceError(f"{text[:80]!r} comes to over {_MOST_PREPARED} signs when prepared; shorten it")
        by_prepared.setdefault(prepared, []).append(text)
    spoken = Spoken({})

    def doubt_of(clip: Clip, prepared: str) -> str:
        expected_s = known_seconds(prepared, voice, pace)
        return sound_doubt(clip.samples, SAMPLE_RATE, prepared, expected_s, trimmed=True) or clip.doubt

    def one(prepared: str) -> tuple[Clip, float | None, str]:
        key = recipe_key({**facts, "text": prepared})
        text = by_prepared[prepared][0]
        found = store.get(key)
        if found is not None:
            return found, None, doubt_of(found, prepared)
        try:
            raw, sample_rate, words = engine.speak(prepared, pace)
            _require_sensible(raw, sample_rate, prepared)
            finished = finish(raw, sample_rate, synthetic=True)
        except VoiceError as error:
            raise VoiceError(f"voice {voice.name} could not speak {text!r}: {error}") from error
        # A clip is trimmed and made louder, so that a cut end or near silence can only be heard before that.
        doubt = sound_doubt(raw, sample_rate, prepared, None)
        clip = dataclasses.replace(_clip(text, voice.name, finished, words), doubt=doubt)
        store.put(key, clip)
        return clip, finished.reduction_db, doubt_of(clip, prepared)

    # The longest first, so that no thread is left alone with a long one at the end.
    order = sorted(by_prepared, key=lambda prepared: (-len(prepared), prepared))
    for prepared, (clip, reduction_db, doubt) in _each(order, one, engine.workers):
        for text in by_prepared[prepared]:
            spoken.clips[text] = dataclasses.replace(clip, text=text, voice=voice.name)
        if reduction_db is not None:
            spoken.n_synthesised += 1
            spoken.reductions_db[by_prepared[prepared][0]] = reduction_db
        if doubt:
            spoken.doubts |= dict.fromkeys(by_prepared[prepared], f"{voice.name}: {doubt}")
        count.add(len(by_prepared[prepared]))
    return spoken


def _require_sensible(raw: npt.NDArray[np.float32], sample_rate: int, prepared: str) -> None:
    if sample_rate not in SAMPLE_RATES:
        raise VoiceError(f"the engine gave sound at {sample_rate} Hz")
    if len(raw) > longest_s(prepared) * sample_rate:
        raise VoiceError(
            f"the engine gave {len(raw) / sample_rate:.0f} s of sound, over the {longest_s(prepared):.0f} s "
            "that so many words can take"
        )


def _play(
    texts: list[str],
    voice: VoiceDefinition,
    recorded: Recordings,
    store: ClipStore,
    pace: float,
    count: _Count,
    chain: tuple[str, ...],
) -> Spoken:
    spoken = Spoken({})
    missing: dict[str, str] = {}
    for text in texts:
        recording = recorded.find(text)
        if isinstance(recording, str):
            missing[text] = recording
            continue
        try:
            clip, made = _from_recording(recording, text, voice.name, store)
        except VoiceError as error:
            missing[text] = str(error)
            continue
        spoken.clips[text] = clip
        spoken.n_synthesised += made
        count.add(1)
    if not missing:
        return spoken
    fallback = recorded.fallback
    if fallback in chain or len(chain) >= _MOST_FALLBACKS:
        raise voice.problem("fallback", f"falling back goes in a circle: {' → '.join((*chain, fallback))}")
    instead = _speak(
        list(missing), find_voice(fallback, voice.plan_folder), store, pace, count, (*chain, fallback)
    )
    spoken.clips.update(instead.clips)
    spoken.n_synthesised += instead.n_synthesised
    spoken.reductions_db.update(instead.reductions_db)
    spoken.doubts.update(instead.doubts)
    for text, why in missing.items():
        spoken.fallbacks[text] = f"{instead.clips[text].voice}: {why}"
    return spoken


def _from_recording(
    recording: ClipRecording, text: str, voice_name: str, store: ClipStore
) -> tuple[Clip, bool]:
    key = recipe_key(recorded_facts(recording))
    found = store.get(key)
    if found is not None:
        return dataclasses.replace(found, text=text, voice=voice_name), False
    try:
        finished = finish(
            read_recording(recording.path), SAMPLE_RATE, synthetic=False, gain_db=recording.gain_db
        )
    except VoiceError as error:
        raise VoiceError(f"{recording.path.name}: {error}") from error
    clip = _clip(text, voice_name, finished, ())
    store.put(key, clip)
    return clip, True


def _clip(text: str, voice_name: str, finished: Finished, words: tuple[tuple[str, float], ...]) -> Clip:
    samples = finished.samples
    onsets = [min(max(0, round((at_s - finished.start_s) * SAMPLE_RATE)), len(samples)) for _, at_s in words]
    ends = [*onsets[1:], len(samples)] if onsets else []
    timed = tuple((word, onset, end) for (word, _), onset, end in zip(words, onsets, ends, strict=True))
    return Clip(text, voice_name, SAMPLE_RATE, samples, content_hash(samples), timed)


def _each(order: list[str], work: Callable[[str], Result], workers: int) -> Iterable[tuple[str, Result]]:
    with ThreadPoolExecutor(max_workers=max(1, min(workers, len(order)))) as pool:
        futures: dict[Future[Result], str] = {pool.submit(work, one): one for one in order}
        try:
            for future in as_completed(futures):
                yield futures[future], future.result()
        except BaseException:
            pool.shutdown(wait=True, cancel_futures=True)
            raise
