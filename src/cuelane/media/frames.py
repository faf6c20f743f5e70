"""Where the frames of an MP3 or ADTS stream begin and end.

Sources: ISO/IEC 11172-3, 2.4.2.3 (header of a frame, bitrates of layer III) and ISO/IEC 14496-3, 1.A.2
(ADTS), both read in secondary sources.
"""

from __future__ import annotations

from cuelane.base.errors import DeliveryError
from cuelane.media.formats import Joining

# Layer III of MPEG-1, kb/s; the first is a stream of free format, the last is forbidden.
_KBPS = (0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 0)
_RATES = (44_100, 48_000, 32_000, 0)


def split_frames(data: bytes, joining: Joining) -> list[bytes]:
    """Return the frames of a stream, in order. Raises DeliveryError for anything that is not whole frames."""
    length_of = _adts_bytes if joining.muxer == "adts" else mp3_frame_bytes
    frames, at = [], 0
    while at < len(data):
        n_bytes = length_of(data, at) if at + 7 <= len(data) else 0
        if n_bytes < 7 or at + n_bytes > len(data):
            raise DeliveryError(f"the encoder's stream is broken at byte {at} of {len(data)}")
        frames.append(data[at : at + n_bytes])
        at += n_bytes
    return frames


def adts_payload(frame: bytes) -> bytes:
    """Return an ADTS frame without its header, as MPEG-4 holds it."""
    return frame[7 if frame[1] & 1 else 9 :]


def _adts_bytes(data: bytes, at: int) -> int:
    if data[at] != 0xFF or data[at + 1] & 0xF6 != 0xF0:
        return 0
    return (data[at + 3] & 3) << 11 | data[at + 4] << 3 | data[at + 5] >> 5


def mp3_frame_bytes(data: bytes, at: int) -> int:
    """Return the length of the frame whose header stands at `at`; 0 for what is none of layer III."""
    if data[at] != 0xFF or data[at + 1] & 0xFE != 0xFA:
        return 0
    kbps, rate = _KBPS[data[at + 2] >> 4], _RATES[data[at + 2] >> 2 & 3]
    return 144_000 * kbps // rate + (data[at + 2] >> 1 & 1) if rate else 0
