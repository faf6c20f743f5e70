"""Coarse captions for a generated class: late, merged, unpunctuated, with wrong words."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from classgen import GeneratedClass

WRONG = {"heels": "hills", "toes": "does", "neck": "next", "floor": "flower", "weight": "wait"}


@dataclass(frozen=True)
class Caption:
    start_s: float
    end_s: float
    text: str


def captions(
    made: GeneratedClass,
    seed: int,
    *,
    late_s: float = 2.0,
    merge: float = 0.4,
    wrong: float = 0.05,
    punctuation: bool = False,
) -> list[Caption]:
    """Return captions up to `late_s` late (or 0.6 s early), each of one or more phrases."""
    rng = np.random.default_rng(seed)
    out: list[Caption] = []
    index = 0
    while index < len(made.phrases):
        n_merged = 1
        while (
            index + n_merged < len(made.phrases)
            and n_merged < 3
            and rng.random() < merge
            and made.phrases[index + n_merged][1] - made.phrases[index + n_merged - 1][2] < 4.0
        ):
            n_merged += 1
        group = made.phrases[index : index + n_merged]
        index += n_merged
        shift = float(rng.uniform(-0.3 * late_s, late_s))
        text = " ".join(phrase for phrase, _, _ in group)
        if not punctuation:
            text = re.sub(r"[^\w\s']", "", text).lower()
        tokens = [
            WRONG[t.lower()] if t.lower() in WRONG and rng.random() < wrong * 4 else t for t in text.split()
        ]
        start = max(0.0, group[0][1] + shift)
        out.append(Caption(start, max(start + 1.0, group[-1][2] + shift), " ".join(tokens)))
    return out


def _clock(seconds: float, comma: str) -> str:
    millis = round(seconds * 1000)
    hours, rest = divmod(millis, 3_600_000)
    minutes, rest = divmod(rest, 60_000)
    return f"{hours:02d}:{minutes:02d}:{rest // 1000:02d}{comma}{rest % 1000:03d}"


def as_vtt(rows: list[Caption]) -> str:
    body = "\n\n".join(f"{_clock(r.start_s, '.')} --> {_clock(r.end_s, '.')}\n{r.text}" for r in rows)
    return f"WEBVTT\n\n{body}\n"


def as_srt(rows: list[Caption]) -> str:
    return "\n".join(
        f"{k}\n{_clock(r.start_s, ',')} --> {_clock(r.end_s, ',')}\n{r.text}\n" for k, r in enumerate(rows, 1)
    )


def as_plain(rows: list[Caption]) -> str:
    return "\n".join(f"{int(r.start_s) // 60}:{int(r.start_s) % 60:02d} {r.text}" for r in rows) + "\n"


def rolling(made: GeneratedClass, seed: int, *, most: int = 8, late_s: float = 0.5) -> list[Caption]:
    """Return captions as programs write them: up to `most` words each, cut anywhere, a new one after 3 s."""
    rng = np.random.default_rng(seed)
    words = [(re.sub(r"[^\w\s']", "", w.text).lower(), w.onset_s, w.end_s) for w in made.words]
    out: list[Caption] = []
    index = 0
    while index < len(words):
        end, most_now = index + 1, int(rng.integers(most // 2, most + 1))
        while end < len(words) and end - index < most_now and words[end][1] - words[end - 1][2] < 3.0:
            end += 1
        shift = float(rng.uniform(-0.6 * late_s, late_s))
        start = max(0.0, words[index][1] + shift)
        out.append(Caption(start, words[end - 1][2] + shift + 0.3, " ".join(w for w, *_ in words[index:end])))
        index = end
    return out
