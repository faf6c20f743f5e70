"""Python's collector of garbage, held still while the desk is started."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Iterator


@contextlib.contextmanager
def nothing_collected() -> Iterator[None]:
    """Look for no garbage while what is within imports, and never again among what is there at its end.

    What is imported stays. To look through all of it again and again took a twentieth of the desk's start,
    and later held up one letter in eight by a tenth of a second. What becomes garbage within, about a
    megabyte, is kept too.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()
