"""What may be written into a field that takes a name: the voices of a language, and the languages."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from cuelane.speech.engines import engine_of
from cuelane.speech.voices import readable_voices, voice_names


def voices_for(language: str, plan_folder: Path) -> list[str]:
    """Return the names of the voices that can speak a plan: those beside it, then those of its language.

    Parameters
    ----------
    language : a BCP 47 tag, such as ``pt-BR``.
    plan_folder : where the plan lies; its recordings are in the folder ``voices`` beside it.
    """
    ours = _ours(language.split("-")[0].lower())
    # This is asked at each change of the plan: most have no recordings, and then nothing need be looked up.
    beside = voice_names(plan_folder) if (plan_folder / "voices").is_dir() else []
    return [*(name for name in beside if name not in _all_of_ours()), *ours]


# They come with the program, so that they stay as they are while it runs.
@lru_cache(maxsize=1)
def _all_of_ours() -> frozenset[str]:
    return frozenset(voice_names())


@lru_cache(maxsize=64)
def _ours(language: str) -> tuple[str, ...]:
    return tuple(
        voice.name
        for voice in readable_voices()[0]
        if voice.language.split("-")[0].lower() == language and not engine_of(voice).missing()
    )
