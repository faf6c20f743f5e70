"""Long silence left out of what an encoder is fed, and its frames put back into what it makes.

Digital silence comes out as the same few bytes frame after frame, once the sound before it has died away, and
an encoder that has heard some of it is in the state in which more of it would leave it. So of a long silence
only a part is encoded. The result is that of encoding everything, byte for byte; whether the frames round the
gap do repeat is looked at each time, since that an encoder does so is written nowhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cuelane.media.formats import Joining
from cuelane.media.reader import Block

GUARD_FRAMES = 8
"""Of silence after a gap: an encoder looks ahead by less than 4 frames."""


@dataclass(frozen=True)
class Gap:
    """`n_frames` left out before frame `at`, both counted in the frames of the stream that is encoded."""

    at: int
    n_frames: int


def without_long_silence(blocks: Sequence[Block], joining: Joining) -> tuple[list[Block], list[Gap]]:
    """Return `blocks` of shape (n, n_channels), without most of each long silence, and the gaps in order."""
    if not blocks:
        return [], []
    sound = blocks[0] if len(blocks) == 1 else np.concatenate(blocks)
    unit, n_units = joining.frame_samples, len(sound) // joining.frame_samples
    quiet = np.ones(n_units + 2, dtype=bool)
    quiet[[0, -1]] = False
    # The bits of a float are zero for silence alone; -0.0 is taken for sound. As whole numbers this is fast.
    bits = np.ascontiguousarray(sound[: n_units * unit]).view(np.uint32)
    quiet[1:-1] = ~bits.reshape(n_units, unit * sound.shape[1]).any(axis=1)
    turns = np.flatnonzero(quiet[1:] != quiet[:-1])
    kept: list[Block] = []
    gaps: list[Gap] = []
    done = left_out = 0
    for first, end in zip(turns[::2].tolist(), turns[1::2].tolist(), strict=True):
        n_frames = (end - first - joining.silence_frames) // joining.cycle_frames * joining.cycle_frames
        if n_frames <= 0:
            continue
        at = first + joining.silence_frames - GUARD_FRAMES
        kept.append(sound[done * unit : at * unit])
        gaps.append(Gap(at - left_out, n_frames))
        done, left_out = at + n_frames, left_out + n_frames
    return [*kept, sound[done * unit :]], gaps


def with_silence(frames: list[bytes], gaps: Sequence[Gap], joining: Joining) -> list[bytes] | None:
    """Return the frames of everything; None if those round a gap do not repeat, so that none can say."""
    cycle, done = joining.cycle_frames, 0
    whole: list[bytes] = []
    for gap in gaps:
        repeated = frames[gap.at - cycle : gap.at]
        after = frames[gap.at : gap.at + GUARD_FRAMES // 2]
        if frames[gap.at - 2 * cycle : gap.at - cycle] != repeated or after != (repeated * 4)[: len(after)]:
            return None
        whole += frames[done : gap.at]
        whole += repeated * (gap.n_frames // cycle)
        done = gap.at
    return whole + frames[done:]
