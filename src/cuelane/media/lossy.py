"""Blocks of samples through a pipe to the ffmpeg program, which writes a lossy file.

It writes to a seekable file: through a pipe the tags that tell players the encoder's delay would be lost.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from cuelane.base.errors import DeliveryError
from cuelane.media import ffmpeg
from cuelane.media.counted import CountedBlocks
from cuelane.media.formats import LossyCoding
from cuelane.media.reader import Block

NO_METADATA = ("-map", "0:a", "-map_metadata", "-1", "-map_chapters", "-1")


def write_lossy(
    path: Path,
    blocks: CountedBlocks,
    coding: LossyCoding,
    sample_rate: int,
    bitrate_kbps: int,
    metadata_options: Sequence[str] = NO_METADATA,
) -> None:
    """Write `blocks` to `path` at `bitrate_kbps` in all.

    Raises
    ------
    DeliveryError : the encoder failed; the message holds the encoder's last line.
    """
    sound = ["-f", "f32le", "-ar", str(sample_rate), "-ac", str(blocks.n_channels), "-i", "pipe:0"]
    command = [*ffmpeg.quiet(), *sound, *metadata_options]
    command += ["-c:a", coding.encoder, "-b:a", f"{bitrate_kbps}k", *coding.options]
    command += ["-bitexact", "-f", coding.muxer, f"file:{path}"]
    with ffmpeg.running(command, feed=True) as (process, said):
        assert process.stdin is not None
        ffmpeg.enlarge_pipe(process.stdin)
        broken = False
        gain = np.float32(coding.makeup_gain(bitrate_kbps))
        for block in blocks:
            try:
                _send(process.stdin.fileno(), block if gain == 1 else block * gain)
            except OSError:
                # The encoder has ended; what it said tells why. (Windows gives EINVAL, not a broken pipe.)
                broken = True
                break
        process.stdin.close()
        code = process.wait()
        lines = said.lines()
    if broken or code != 0:
        reason = lines[-1] if lines else _end_of(code)
        raise DeliveryError(f"the {coding.encoder} encoder failed: {reason}")


def _end_of(code: int) -> str:
    """Return how a process ended that said nothing, such as one whose file may grow no larger."""
    named = signal.strsignal(-code) if code < 0 and -code in signal.valid_signals() else None
    return f"ended by signal {-code} ({named})" if named else f"status {code}"


def _send(pipe: int, block: Block) -> None:
    data = np.ascontiguousarray(block, dtype="<f4").ravel().view(np.uint8).data
    while data:
        data = data[os.write(pipe, data) :]
