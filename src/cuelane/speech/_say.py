"""One line spoken by the computer's own voice, in a process of its own: ``python -m cuelane.speech._say``.

Reads one JSON object from standard input (text, rate_wpm, voice_id or null, out) and writes one to standard
output (error, or words with their sample in the file). In one long-lived process the engine drops files,
hangs, and says the same line differently each time; a fresh process does none of that.
"""

from __future__ import annotations

import contextlib
import ctypes
import io
import json
import os
import sys
import time
from pathlib import Path
from typing import Any

_DRIVERS = {"darwin": "nsss", "win32": "sapi5"}


def _prepare_espeak() -> None:
    import espeakng_loader

    # The library was built elsewhere and looks for its data there; and pyttsx3 loads it by its bare name,
    # which finds a library that is already in the process.
    os.environ["ESPEAK_DATA_PATH"] = espeakng_loader.get_data_path()
    ctypes.CDLL(espeakng_loader.get_library_path(), mode=ctypes.RTLD_GLOBAL)


def _speak_in_this_thread() -> None:
    """Make the espeak driver open the engine without a thread of its own.

    That thread takes the rate, too, and the driver cancels, when it leaves its first loop, what it has
    not yet done: one line in 200 was spoken at the driver's rate instead of the voice's. Without the thread
    the engine does not tell that it has ended; it is when it returns.
    """
    from pyttsx3.drivers import _espeak
    from pyttsx3.drivers.espeak import EspeakDriver

    opened, speak = _espeak.Initialize, EspeakDriver._start_synthesis

    def speak_and_end(self: Any, text: str) -> None:
        speak(self, text)
        ended = (_espeak.EVENT * 2)()  # the other says that there are no more
        ended[0].type = _espeak.EVENT_MSG_TERMINATED
        self._onSynth(None, 0, ended)

    _espeak.Initialize = lambda output, *more: opened(_espeak.AUDIO_OUTPUT_SYNCHRONOUS, *more)
    EspeakDriver._start_synthesis = speak_and_end


def _collect_words(text: str, words: list[tuple[str, int]]) -> None:
    """Make the espeak driver note each word's sample, which it is told but does not pass on."""
    from pyttsx3.drivers import _espeak
    from pyttsx3.drivers.espeak import EspeakDriver

    original = EspeakDriver._onSynth

    def noting(self: Any, wav: Any, n_samples: int, events: Any) -> Any:
        index = 0
        while events[index].type != _espeak.EVENT_LIST_TERMINATED:
            event = events[index]
            if event.type == _espeak.EVENT_WORD:
                start = event.text_position - 1
                words.append((text[start : start + event.length], int(event.sample)))
            index += 1
        return original(self, wav, n_samples, events)

    EspeakDriver._onSynth = noting


def _speak(order: dict[str, Any]) -> dict[str, Any]:
    driver = _DRIVERS.get(sys.platform, "espeak")
    words: list[tuple[str, int]] = []
    try:
        if driver == "espeak":
            _prepare_espeak()
        import pyttsx3

        if driver == "espeak":
            _speak_in_this_thread()
            _collect_words(order["text"], words)
        engine = pyttsx3.init(driver)
    except Exception as error:
        return {"error": f"the computer's speech engine cannot be started: {error}"}
    if order["voice_id"] is not None:
        known = [voice.id for voice in engine.getProperty("voices")]
        if order["voice_id"].lower() not in (str(voice_id).lower() for voice_id in known):
            return {"error": f"this computer has no voice {order['voice_id']!r}; it has: {', '.join(known)}"}
        engine.setProperty("voice", order["voice_id"])
    engine.setProperty("rate", order["rate_wpm"])
    finished: list[bool] = []
    engine.connect("finished-utterance", lambda name=None, completed=True: finished.append(completed))
    engine.save_to_file(order["text"], order["out"])
    engine.runAndWait()
    # runAndWait may return before the engine has written; the parent's timeout bounds this loop.
    out = Path(order["out"])
    while not finished or not out.is_file() or out.stat().st_size == 0:
        time.sleep(0.005)
    return {"words": words}


def main() -> int:
    order = json.load(sys.stdin)
    # The driver prints a line for each file; only our answer belongs on standard output.
    with contextlib.redirect_stdout(io.StringIO()):
        answer = _speak(order)
    sys.stdout.write(json.dumps(answer))
    sys.stdout.flush()
    # The engine's own clean-up at exit can abort after the work is done.
    os._exit(0)


if __name__ == "__main__":
    main()
