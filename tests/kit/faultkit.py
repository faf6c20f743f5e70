"""Faults put into a synthetic track, each with the name the checker must give it.

Works on :mod:`synth` tracks only; knows nothing of the checker but its words for faults.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

import synth

Expected = tuple[str, str | None, int]
"""(fault, event id or None for the whole file, sign of the error or 0 where none is asked for).

Where one of several events with the same words may be named, their ids are joined by ``|``.
"""

MARGIN_S = 0.06


@dataclass
class Broken:
    """A track with faults: what is heard may be changed once more after mixing by ``after``."""

    track: synth.Track
    expected: list[Expected]
    touched: set[str]
    after: list[Callable[[synth.Wave], synth.Wave]]


def broken(track: synth.Track) -> Broken:
    """Return `track` with nothing wrong yet."""
    copy = replace(track, placed=list(track.placed), planned=list(track.planned))
    return Broken(copy, [], set(), [])


def sound_of(case: Broken) -> synth.Wave:
    """Return the samples as they are heard."""
    sound = case.track.samples()
    sound *= np.float32(min(1.0, 0.9 / float(np.abs(sound).max())))
    for change in case.after:
        sound = change(sound)
    return sound


def _same(case: Broken, item: synth.Placed) -> str:
    return "|".join(o.id for o in case.track.planned if o.text == item.text)


def _spot(case: Broken, item: synth.Placed) -> int:
    return next(i for i, other in enumerate(case.track.placed) if other.id == item.id)


def _room(case: Broken, item: synth.Placed) -> tuple[int, int]:
    """Return how many samples the item may move early and late without touching its neighbours."""
    rate = case.track.rate
    gap = int(MARGIN_S * rate)
    others = [o for o in case.track.placed if o.id != item.id]
    before = max((o.onset + len(o.sound) for o in others if o.onset <= item.onset), default=0)
    after = min((o.onset for o in others if o.onset > item.onset), default=case.track.n_frames)
    return item.onset - before - gap, after - item.onset - len(item.sound) - gap


def _pick(case: Broken, rng: np.random.Generator, kind: str, least_s: float = 0.0) -> synth.Placed:
    """Return an untouched event of this kind, at least so long, whose neighbours are untouched too."""
    placed = sorted(case.track.placed, key=lambda item: item.onset)
    own = {item.id for item in case.track.planned}
    fit = [
        item
        for i, item in enumerate(placed)
        if item.kind == kind
        and item.id in own
        and len(item.sound) >= least_s * case.track.rate
        and not {o.id for o in placed[max(0, i - 1) : i + 2]} & case.touched
    ]
    item = fit[int(rng.integers(len(fit)))]
    case.touched.add(item.id)
    return item


def _put(case: Broken, item: synth.Placed, **change: object) -> None:
    case.track.placed[_spot(case, item)] = replace(item, **change)  # type: ignore[arg-type]


def shifted(case: Broken, rng: np.random.Generator, kind: str, least_ms: float, most_ms: float) -> None:
    """Move one event, early or late, by a random amount that leaves its neighbours alone."""
    rate = case.track.rate
    for _ in range(50):
        item = _pick(case, rng, kind)
        early, late = _room(case, item)
        size = int(np.exp(rng.uniform(np.log(least_ms), np.log(most_ms))) * rate / 1000) + 1
        signs = [sign for sign, space in ((-1, early), (1, late)) if space > size]
        if signs:
            sign = int(rng.choice(signs))
            _put(case, item, onset=item.onset + sign * size)
            case.expected.append(("late" if sign > 0 else "early", item.id, sign))
            return
    raise AssertionError("no event has room to move")


def late_cue(case: Broken, rng: np.random.Generator) -> None:
    shifted(case, rng, "cue", 20.3, 380)


def late_pip(case: Broken, rng: np.random.Generator) -> None:
    shifted(case, rng, "pip", 5.3, 200)


def missing_cue(case: Broken, rng: np.random.Generator) -> None:
    item = _pick(case, rng, "cue")
    case.track.placed.pop(_spot(case, item))
    case.expected.append(("missing", item.id, 0))


def missing_pip(case: Broken, rng: np.random.Generator) -> None:
    item = _pick(case, rng, "pip")
    case.track.placed.pop(_spot(case, item))
    case.expected.append(("missing", item.id, 0))


def doubled(case: Broken, rng: np.random.Generator) -> None:
    """Say a cue again, 60 to 350 ms later: over itself, as a clip triggered twice is."""
    item = _pick(case, rng, "cue", 0.5)
    later = int(rng.uniform(0.06, 0.35) * case.track.rate)
    case.track.placed.append(replace(item, id=item.id + "again", onset=item.onset + later))
    case.expected.append(("doubled", _same(case, item), 0))


def said_again(case: Broken, rng: np.random.Generator) -> None:
    """Say a cue again in an open place elsewhere."""
    for _ in range(200):
        item = _pick(case, rng, "cue", 0.5)
        at = int(rng.integers(0, case.track.n_frames - len(item.sound)))
        gap = int(0.1 * case.track.rate)
        if all(
            at > o.onset + len(o.sound) + gap or at + len(item.sound) + gap < o.onset
            for o in case.track.placed
        ):
            case.track.placed.append(replace(item, id=item.id + "again", onset=at))
            case.expected.append(("doubled", _same(case, item), 0))
            return
        case.touched.discard(item.id)
    raise AssertionError("no open place for a second copy")


def swapped(case: Broken, rng: np.random.Generator) -> None:
    """Let two cues change places."""
    for _ in range(200):
        first, second = _pick(case, rng, "cue"), _pick(case, rng, "cue")
        longer = len(second.sound) - len(first.sound)
        room_first, room_second = _room(case, first)[1], _room(case, second)[1]
        if first.text != second.text and room_first > longer and room_second > -longer:
            _put(case, first, onset=second.onset)
            _put(case, second, onset=first.onset)
            early, late = sorted((first, second), key=lambda item: item.planned)
            case.expected.append(("swapped", early.id, 0))
            case.touched.add(late.id)
            return
        case.touched -= {first.id, second.id}
    raise AssertionError("no two cues fit each other's places")


def wrong_words(case: Broken, rng: np.random.Generator) -> None:
    """Put another of the session's clips in a cue's place, a near twin where there is one."""
    clips = {item.text: item.sound for item in case.track.planned if item.kind == "cue"}
    for _ in range(200):
        item = _pick(case, rng, "cue")
        twins = [
            t
            for t in clips
            if t != item.text and item.text and t and t.split()[-2:] == item.text.split()[-2:]
        ]
        text = str(rng.choice(twins if twins else [t for t in clips if t != item.text]))
        if len(clips[text]) - len(item.sound) < _room(case, item)[1]:
            _put(case, item, sound=clips[text])
            case.expected.append(("wrong words", item.id, 0))
            return
        case.touched.discard(item.id)
    raise AssertionError("no other clip fits")


def cut_short(case: Broken, rng: np.random.Generator) -> None:
    """Break a cue off, losing at least a quarter of it."""
    item = _pick(case, rng, "cue", 0.6)
    keep = int(len(item.sound) * rng.uniform(0.35, 0.75))
    sound = item.sound[:keep].copy()
    fade = case.track.rate // 300
    sound[-fade:] *= np.linspace(1, 0, fade, dtype=np.float32)
    _put(case, item, sound=sound)
    case.expected.append(("cut short", item.id, 0))


def level_off(case: Broken, rng: np.random.Generator) -> None:
    """Make a cue louder or softer than the others by 3 to 8 dB."""
    item = _pick(case, rng, "cue")
    gain_db = float(rng.uniform(3, 8)) * float(rng.choice([-1, 1]))
    _put(case, item, sound=(item.sound * 10 ** (gain_db / 20)).astype(np.float32))
    case.expected.append(("level", item.id, 0))


def pip_pitch(case: Broken, rng: np.random.Generator) -> None:
    """Sound a pip 1 to 9 semitones off."""
    item = _pick(case, rng, "pip")
    semitones = float(rng.integers(1, 10)) * float(rng.choice([-1, 1]))
    assert item.frequency_hz is not None
    other = synth.pip(item.frequency_hz * 2 ** (semitones / 12), len(item.sound), rate=case.track.rate)
    _put(case, item, sound=other)
    case.expected.append(("pip pitch", item.id, 0))


def pip_length(case: Broken, rng: np.random.Generator) -> None:
    """Sound a pip half as long as it should be, or twice."""
    item = _pick(case, rng, "pip")
    assert item.frequency_hz is not None
    factor = 2.0 if _room(case, item)[1] > len(item.sound) and rng.random() < 0.5 else 0.5
    sound = synth.pip(item.frequency_hz, int(len(item.sound) * factor), rate=case.track.rate)
    _put(case, item, sound=sound)
    case.expected.append(("pip length", item.id, 0))


def extra_pip(case: Broken, rng: np.random.Generator) -> None:
    """Put one more short pip half a second before one of a countdown."""
    item = _pick(case, rng, "pip")
    short = next(
        o for o in case.track.planned if o.kind == "pip" and o.interval == item.interval and o.role == "short"
    )
    onset = item.onset - int(0.5 * case.track.rate)
    case.track.placed.append(replace(short, id="extra", onset=onset))
    case.expected.append(("pip count", None, 0))


def clipping(case: Broken, rng: np.random.Generator) -> None:
    """Turn the whole file up into full scale."""
    case.after.append(lambda x: np.clip(x * np.float32(1.6 / float(np.abs(x).max())), -1, 1))
    case.expected.append(("clipping", None, 0))


def ends_early(case: Broken, rng: np.random.Generator) -> None:
    """Lose the last seconds."""
    lost = int(rng.uniform(2, 9) * case.track.rate)
    gone = {o.id for o in case.track.placed if o.onset + len(o.sound) > case.track.n_frames - lost}
    gone |= {o.id for o in case.track.planned if o.onset + len(o.sound) > case.track.n_frames - lost}
    case.expected = [row for row in case.expected if row[1] is None or not set(row[1].split("|")) & gone]
    if "extra" in gone:
        case.expected = [row for row in case.expected if row[0] != "pip count"]
    case.after.append(lambda x: x[:-lost])
    case.expected.append(("ends early", None, -1))


def led_in(case: Broken, rng: np.random.Generator) -> None:
    """Put silence before the start."""
    lead = int(rng.uniform(0.006, 5) * case.track.rate)
    case.after.append(lambda x: np.concatenate([np.zeros(lead, np.float32), x]))
    case.expected.append(("offset", None, 1))


def head_cut(case: Broken, rng: np.random.Generator) -> None:
    """Cut between two sounds near the start."""
    placed = sorted(case.track.placed, key=lambda item: item.onset)
    k = int(rng.integers(1, 4))
    cut = (placed[k - 1].onset + len(placed[k - 1].sound) + placed[k].onset) // 2
    case.after.append(lambda x: x[cut:])
    case.expected += [("offset", None, -1), ("head cut", None, 0)]
    gone = {item.id for item in placed[:k]} | {item.id for item in case.track.planned if item.planned < cut}
    if any(row[0] == "swapped" and row[1] in gone for row in case.expected):
        raise AssertionError("a swap whose half is cut off is no swap any more")
    case.expected = [row for row in case.expected if row[1] not in gone]


def off_speed(case: Broken, rng: np.random.Generator) -> None:
    """Play it on a clock that is 200 to 500 ppm off."""
    n = int(rng.integers(2000, 5001))
    up, down = (n + 1, n) if rng.random() < 0.5 else (n, n + 1)
    case.after.append(lambda x: synth.skewed(x, up, down))
    case.expected.append(("speed", None, 1 if up > down else -1))


def jumped(case: Broken, rng: np.random.Generator) -> None:
    """Put silence in between two sounds half way, or cut a part of the silence there out."""
    placed = sorted(case.track.placed, key=lambda item: item.onset)
    spots = range(len(placed) // 3, 2 * len(placed) // 3)
    gaps = [(placed[k + 1].onset - placed[k].onset - len(placed[k].sound), k) for k in spots]
    gap, k = max(gaps)
    at = placed[k].onset + len(placed[k].sound) + gap // 2
    if rng.random() < 0.5:
        more = int(rng.uniform(0.15, 4) * case.track.rate)
        case.after.append(lambda x: np.concatenate([x[:at], np.zeros(more, np.float32), x[at:]]))
        case.expected.append(("jump", None, 1))
    else:
        less = int(min(0.8 * gap, rng.uniform(0.15, 2) * case.track.rate))
        case.after.append(lambda x: np.concatenate([x[: at - less // 2], x[at - less // 2 + less :]]))
        case.expected.append(("jump", None, -1))


Fault = Callable[[Broken, np.random.Generator], None]

EVENT_FAULTS: tuple[Fault, ...] = (
    late_cue, late_pip, missing_cue, missing_pip, doubled, said_again, swapped, wrong_words, cut_short,
    level_off, pip_pitch, pip_length, extra_pip,
)  # fmt: skip
FILE_FAULTS: tuple[Fault, ...] = (clipping, ends_early, led_in, head_cut, off_speed, jumped)


def wrongly_told(
    report_faults: list[tuple[str, str | None, float | None]], expected: list[Expected]
) -> list[str]:
    """Return what the report misses or invents against what was put in; nothing when it is right."""
    left = list(report_faults)
    problems = []
    for kind, event, sign in expected:
        hit = next(
            (
                row
                for row in left
                if row[0] == kind
                and (event is None or row[1] in event.split("|"))
                and (sign == 0 or (row[2] is not None and np.sign(row[2]) == sign))
            ),
            None,
        )
        if hit is None:
            problems.append(f"not told: {kind} {event or ''} {'+' if sign > 0 else '-' if sign < 0 else ''}")
        else:
            left.remove(hit)
    return problems + [f"invented: {row}" for row in left]
