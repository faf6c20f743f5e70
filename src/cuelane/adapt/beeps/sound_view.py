"""The two views by which returns of a sound are told: their bands as they are, and whitened.

Whitened, a click or a tone is told under drums and vowels that fill the same bands. But a signal that is not
quite the same each time, or one that music seldom disturbs, is told better by its bands as they are. So each
view proposes sounds, each by limits and weights of its own, and the surest counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cuelane.adapt.beeps.fingerprint import UsualBands

Array = npt.NDArray[np.float32]


@dataclass(frozen=True)
class SoundView:
    """How fingerprints are looked at, and what follows of it.

    Attributes
    ----------
    is_white : whether bands are whitened.
    grades : of likeness (correlation), at which sets of onsets are tried.
    joined : so many onsets that are likest propose a set together; 1 where each does by itself only.
    least_like : the likeness below which nothing counts as a return.
    most_beyond : the likeness by which the least like of the returns exceeds all else counts up to this,
        where it is chosen from which likeness on a return counts.
    most_apart : the same, where it is told how sure the sound is.
    offset, weights : of the logistic function of a sound's features, eight of them.
    """

    is_white: bool
    grades: tuple[float, ...]
    joined: int
    least_like: float
    most_beyond: float
    most_apart: float
    offset: float
    weights: tuple[float, ...]

    def of(self, usual: UsualBands, prints: Array) -> Array:
        """Return `prints`, shape (n, 64), in this view, apart from what is `usual`; the same shape."""
        return usual.white(prints) if self.is_white else usual.apart(prints)

    def confidence(self, features: tuple[float, ...]) -> float:
        """Return how sure a sound with `features` marks boundaries, 0 to 1."""
        total = self.offset + float(np.dot(self.weights, features))
        return float(1 / (1 + np.exp(-np.clip(total, -30, 30))))


# The limits are chosen; on seeds 0 to 104 of the benchmark of boundaries lower grades find nothing more.
# The weights were fitted by logistic regression with an L2 penalty on 5,516 sets, 788 of them true, that 212
# classes propose: those from seed 601 to 993 with music at -5 or 0 dB or music over a telephone, 24 of them
# without a signal, and 42 from 1403 on without music or with it at -15 dB. In these, cross-validated in
# twelve parts by class, a true set was higher than `LEAST_SOUND` and than all false ones in 175 of 179 that
# propose one, and a false one in 3 of the 33 others.
AS_IT_IS = SoundView(
    is_white=False,
    grades=(0.92, 0.86, 0.8, 0.74, 0.68, 0.62, 0.55),
    joined=1,
    least_like=0.35,
    most_beyond=0.1,
    most_apart=0.4,
    offset=-15.70,
    weights=(1.06, 1.08, -2.71, 1.14, -1.55, 3.37, 4.09, -0.97),
)
# The limits are chosen: of eleven classes with music as loud as speech, all for fitting, lower grades find
# nothing more, and higher ones less of two; on eight of them 3 or 4 onsets joined find less than 6. Of 628
# returns of half of the classes below 611 count with a `most_beyond` of 0.1 and 610 with 0.2, one wrongly;
# where each length is its own, less takes what is far less alike for one more.
# The weights were fitted as above on 3,038 sets, 408 of them true, that 117 classes propose: of those from
# seed 601 to 993, 1403 to 1523 and 4047 to 4506, 90 with music at -5 or 0 dB, and 18 without a signal. A true
# set was the highest in 90 of 94 that propose one, and a false one in 1 of the 23 others. The offset is 0.2
# lower than fitted, so that what was as likely as not is as sure as `LEAST_SOUND`. No seed from 5,000 on had
# a part in either.
WHITENED = SoundView(
    is_white=True,
    grades=(0.8, 0.7, 0.6, 0.5, 0.42, 0.35, 0.29, 0.24),
    joined=6,
    least_like=0.2,
    most_beyond=0.2,
    most_apart=1.0,
    offset=-17.23,
    weights=(0.97, 0.99, -2.15, 1.11, -2.51, 4.30, 3.61, -1.54),
)
VIEWS = (AS_IT_IS, WHITENED)
