"""Names that Windows keeps for its devices, whatever their ending: no file can be called so there."""

from __future__ import annotations

import unicodedata

_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))}


def is_device(stem: str) -> bool:
    """Tell whether a file's name without its ending is one of them."""
    return unicodedata.normalize("NFKC", stem).lower() in _DEVICES
