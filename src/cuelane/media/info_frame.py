"""The first frame of an MP3 file, which holds no sound but tells players its length, places and delay.

Laid out as ffmpeg writes it, byte for byte. Source: the Info tag of Xing and LAME as described in Gabriel
Bouvigne's "mp3 info tag specification", rev. 1 (read in a secondary source).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from cuelane.media.crc16 import Crc16
from cuelane.media.frames import mp3_frame_bytes

DELAY_SAMPLES = 576 + 529
"""What LAME puts before the sound (576), and a decoder's own (529), which players add by themselves."""

FRAME_SAMPLES = 1_152
_DECODER_SAMPLES = 529
_TOC = 100
_BAGS = 400
_TAG_BYTES = 156


class InfoFrame:
    """Counts the frames that follow it. `first` is one of them, at a constant bitrate."""

    def __init__(self, first: bytes) -> None:
        mono = first[3] >> 6 == 3
        self._tag_at = 4 + (17 if mono else 32)
        # The bitrate of the others, or the next whose frame has room for all of the tag; padding off.
        for index in range(first[2] >> 4, 15):
            header = bytes([first[0], first[1] | 1, index << 4 | first[2] & 0x0C, 0xC0 if mono else 0])
            self.n_bytes = mp3_frame_bytes(header, 0)
            if self.n_bytes >= self._tag_at + _TAG_BYTES:
                break
        self._header = header
        self._n_frames, self._n_bytes, self._crc = 0, self.n_bytes, Crc16()
        self._bags: list[int] = []
        self._want, self._seen = 1, 0

    def add(self, frames: Sequence[bytes]) -> None:
        ends = list(itertools.accumulate(map(len, frames), initial=self._n_bytes))
        done = 0
        while self._want - self._seen <= len(frames) - done:
            done += self._want - self._seen
            self._seen = 0
            self._bags.append(ends[done])
            if len(self._bags) == _BAGS:
                self._bags = self._bags[1::2]
                self._want *= 2
        self._seen += len(frames) - done
        self._n_frames += len(frames)
        self._n_bytes = ends[-1]
        self._crc.add(b"".join(frames))

    def written(self, n_samples: int) -> bytes:
        """Return the frame for sound of `n_samples`; the rest of the last frame is padding."""
        toc = [0]
        for i in range(1, _TOC):
            place = self._bags[i * len(self._bags) // _TOC] if self._bags else 0
            toc.append(min(255, 256 * place // self._n_bytes))
        padding = self._n_frames * FRAME_SAMPLES - n_samples - DELAY_SAMPLES + _DECODER_SAMPLES
        delay = DELAY_SAMPLES - _DECODER_SAMPLES
        tag = b"Info" + (15).to_bytes(4, "big")
        tag += self._n_frames.to_bytes(4, "big") + self._n_bytes.to_bytes(4, "big") + bytes(toc)
        tag += bytes(4) + b"Lavf lame" + bytes(12)
        tag += (delay << 12 | padding).to_bytes(3, "big") + bytes(4)
        tag += self._n_bytes.to_bytes(4, "big") + self._crc.value.to_bytes(2, "big")
        frame = self._header + bytes(self._tag_at - 4) + tag
        # Over 190 bytes also where the tag, in mono, ends before them.
        check = Crc16()
        check.add(frame.ljust(190, b"\0")[:190])
        frame += check.value.to_bytes(2, "big")
        return frame + bytes(self.n_bytes - len(frame))
