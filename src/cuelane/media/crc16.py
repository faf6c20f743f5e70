"""The check sum that an MP3's first frame holds of all that follows it: CRC-16, polynomial 0x8005, reflected.

A loop in Python over each byte of a track would take half a minute. But the polynomial divides x^32767 - 1,
for it is (x + 1)(x^15 + x + 1) and both factors do. So bytes that stand 32767 apart count alike and may be
added (exclusive or) as they come; what is left to divide at the end is of that
length, however long the track.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

_N_ROWS, _N_COLUMNS = 217, 151
_PERIOD_BYTES = _N_ROWS * _N_COLUMNS
"""32767."""


def _crc_table() -> npt.NDArray[np.uint16]:
    """Return what each byte leaves, shape (256,)."""
    table = np.arange(256, dtype=np.uint32)
    for _ in range(8):
        table = np.where(table & 1, table >> 1 ^ 0xA001, table >> 1)
    return table.astype(np.uint16)


_TABLE = _crc_table()


class Crc16:
    """Takes data part by part; ``value`` is the check sum of all so far, 0 to 65535, of no data 0."""

    def __init__(self) -> None:
        self._folded = np.zeros(_PERIOD_BYTES, np.uint8)
        self._n_bytes = 0

    def add(self, data: bytes) -> None:
        before = self._n_bytes % _PERIOD_BYTES
        after = -(before + len(data)) % _PERIOD_BYTES
        laid = np.frombuffer(b"".join((bytes(before), data, bytes(after))), np.uint8)
        self._folded ^= np.bitwise_xor.reduce(laid.reshape(-1, _PERIOD_BYTES), axis=0)
        self._n_bytes += len(data)

    @property
    def value(self) -> int:
        # The last byte to the end; zeros before the first change nothing.
        rows = np.roll(self._folded, -(self._n_bytes % _PERIOD_BYTES)).reshape(_N_ROWS, _N_COLUMNS)
        # The sums of all rows are made side by side.
        sums = np.zeros(_N_ROWS, np.uint16)
        for column in rows.T:
            sums = _TABLE[(sums ^ column) & 0xFF] ^ sums >> 8
        # A sum moved on by the length of a row is that of its bits, each moved on.
        moved = (1 << np.arange(16)).astype(np.uint16)
        for _ in range(_N_COLUMNS):
            moved = _TABLE[moved & 0xFF] ^ moved >> 8
        basis, total = [int(value) for value in moved], 0
        for row in sums.tolist():
            on = 0
            for bit, value in enumerate(basis):
                if total >> bit & 1:
                    on ^= value
            total = on ^ row
        return total
