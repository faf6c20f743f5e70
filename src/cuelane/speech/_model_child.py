"""A stranger's model in a process of its own: ``python -m cuelane.speech._model_child``.

Reads JSON lines from standard input: first which model, then a line for each text. Answers each with a JSON
line, and the samples behind it as little-endian float32. Ends with its parent.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
from pathlib import Path
from typing import IO, Any

# Processor seconds for one request; the parent's clock is the first to end it, unless the parent is gone.
_CPU_S = 180


def _limit(kind: str, amount: int) -> None:
    # Windows has no such limits, and macOS refuses some; there only the parent ends it.
    with contextlib.suppress(ImportError, AttributeError, OSError, ValueError):
        import resource

        resource.setrlimit(getattr(resource, kind), (amount, resource.getrlimit(getattr(resource, kind))[1]))


def _private_output() -> IO[bytes]:
    """Keep standard output for answers: what libraries print goes to standard error."""
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    return out


def main() -> None:
    """Answer requests until standard input ends."""
    out = _private_output()
    order = json.loads(sys.stdin.buffer.readline())
    model: Any = None
    try:
        from cuelane.base.ordinary import read_ordinary
        from cuelane.speech.piper_config import PiperFacts
        from cuelane.speech.piper_model import PiperModel

        _limit("RLIMIT_AS", order["address_bytes"])
        _limit("RLIMIT_FSIZE", 0)
        _limit("RLIMIT_CORE", 0)
        content = read_ordinary(Path(order["model"]), order["model_bytes"])
        facts = PiperFacts.model_validate(order["facts"])
        model = PiperModel(content, facts, order["speaker"], order["name"])
        del content
    except Exception as error:
        _answer(out, {"error": _words(error)})
        return
    _answer(out, {})
    while line := sys.stdin.buffer.readline():
        _limit("RLIMIT_CPU", int(sum(os.times()[:2])) + _CPU_S)
        request = json.loads(line)
        try:
            samples, sample_rate = model.speak(request["text"], request["pace"], request["pause_ms"])
        except Exception as error:
            _answer(out, {"error": _words(error)})
            continue
        _answer(out, {"n_frames": len(samples), "sample_rate": sample_rate})
        with contextlib.suppress(BrokenPipeError):
            out.write(samples.astype("<f4").tobytes())
            out.flush()


def _words(error: Exception) -> str:
    if isinstance(error, MemoryError) or "bad_alloc" in str(error):
        return "the model asks for more memory than it may have"
    return str(error)[:500] or type(error).__name__


def _answer(out: IO[bytes], answer: dict[str, Any]) -> None:
    out.write(json.dumps(answer).encode("utf-8") + b"\n")
    out.flush()


if __name__ == "__main__":
    main()
