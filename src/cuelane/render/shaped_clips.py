"""A session's clips shaped for listening over music, when asked: which shape, and the clips it gives.

The shape is chosen once a session by what it measurably gains at equal loudness; recordings of people are
left as they are. A shaped clip has the same length, so nothing in the schedule moves but the clip's name.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from cuelane.audio.clip import Clip, Samples, content_hash, quantise24
from cuelane.audio.store import ClipStore, recipe_key
from cuelane.base.errors import DeliveryError
from cuelane.base.schedule import Schedule
from cuelane.hearing.speech_shape import OFF, ShapeChoice, choose_shape, shape_speech
from cuelane.speech.finish import TRUE_PEAK_DBTP, hold_peaks

# The choice is by a mean over clips; this many are enough for it.
_MOST_CLIPS_WEIGHED = 32
_VERSION = 1


def shaped_for_music(
    schedule: Schedule, store: ClipStore, is_synthetic: Callable[[str], bool]
) -> tuple[Schedule, ShapeChoice]:
    """Return the schedule with its synthetic clips shaped, and what was chosen and why.

    Parameters
    ----------
    is_synthetic : whether the voice of that name is an engine; clips of others are not touched.
    """
    wanted = {
        cue.clip: cue.text or ""
        for cue in schedule.cues
        if cue.clip and cue.voice and is_synthetic(cue.voice)
    }
    weighed = [_samples(store, sha256) for sha256 in list(wanted)[:_MOST_CLIPS_WEIGHED]]
    choice = choose_shape(weighed, schedule.sample_rate)
    if choice.shape == OFF:
        return schedule, choice
    names: dict[str, str] = {}
    for sha256, text in wanted.items():
        key = recipe_key({"clip": sha256, "shape": vars(choice.shape), "version": _VERSION})
        clip = store.get(key)
        if clip is None:
            shaped = shape_speech(_samples(store, sha256), schedule.sample_rate, choice.shape)
            samples = quantise24(hold_peaks(shaped, TRUE_PEAK_DBTP))
            clip = Clip(text, choice.shape.name, schedule.sample_rate, samples, content_hash(samples))
            store.put(key, clip)
        names[sha256] = clip.sha256
    events = tuple(
        replace(event, clip=names.get(event.clip, event.clip)) if event.clip else event
        for event in schedule.events
    )
    return replace(schedule, events=events), choice


def _samples(store: ClipStore, sha256: str) -> Samples:
    clip = store.by_hash(sha256)
    if clip is None:
        raise DeliveryError(f"the clip {sha256[:19]}… is gone from the store {store.folder}; render again")
    return clip.samples
