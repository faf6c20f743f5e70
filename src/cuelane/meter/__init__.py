"""Loudness and true peak as published: ITU-R BS.1770-5, EBU Tech 3341 and Tech 3342.

Levels are LUFS and dBTP, full scale 1.0; silence reads -inf, never NaN. Where we differ from a source, and
which way it moves a reading:

- momentary and short-term loudness are read every 10 ms, not every 100 ms: the maximum of a burst reads up
  to 0.45 LU higher, which Tech 3341 cases 13 and 14 need;
- the true-peak filter is longer than the printed one (see :mod:`cuelane.meter.true_peak`);
- clips under 400 ms have a loudness (see :func:`clip_loudness_lufs`).

Libraries measure loudness too, and the tests hold this meter against them. It is our own because a session is
hours long: it takes a stream block by block, keeps no samples, and reads true peaks in the same pass, where
pyloudnorm wants the whole sound at once and reads no true peak, and pyebur128 has no wheel after Python 3.12.
A render uses only the integrated loudness and the true peak. The other readings of an EBU meter are kept
because most cases that Tech 3341 and Tech 3342 publish are about them, and they hold the weighting, windows
and gates that all readings share.
"""

from cuelane.base.memory import keep_freed_memory
from cuelane.meter.gating import clip_loudness_lufs
from cuelane.meter.streaming import Meter, integrated_loudness_lufs
from cuelane.meter.true_peak import TruePeak, true_peak_dbtp
from cuelane.meter.weighting import k_weight, k_weighting_sos

__all__ = [
    "Meter",
    "TruePeak",
    "clip_loudness_lufs",
    "integrated_loudness_lufs",
    "k_weight",
    "k_weighting_sos",
    "true_peak_dbtp",
]

keep_freed_memory()
