"""Cuts recordings of a script into one clip a line, and reports on each line."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from cuelane.recording.cutting import cut_take, is_clipped
from cuelane.recording.decode import Recording, open_recording
from cuelane.recording.pronouncing import spoken_words
from cuelane.recording.recogniser import LISTEN_RATE, HeardWord
from cuelane.recording.room_tone import level_db, room_tone
from cuelane.recording.word_engines import WordEngine, choose_engine
from cuelane.takes.line_hearing import LineHearing, line_hearing
from cuelane.takes.matching import LIKELY, SURE_TAKE, HeardPiece, Take
from cuelane.takes.splitting import SpokenPiece, measure_levels, parts_of, split_at_pauses

Audio = npt.NDArray[np.float32]
Progress = Callable[[int, int], None]

MAX_NUMBER = 999
_PAD_S = 0.28
NOISY_DB = 30.0
"""By how many dB speech should be louder than its room's noise; with less, the noise is heard in the
track."""


@dataclass(frozen=True)
class LineResult:
    """The result for one line.

    ``state`` is ``placed`` (its clip is in the voice), ``uncertain`` (a clip was cut, to be listened to and
    not used until it is accepted) or ``missing``. ``n_takes`` is how often it was read.
    """

    number: int
    text: str
    state: str
    confidence: float = 0.0
    n_takes: int = 0
    recording: str | None = None
    start_s: float | None = None
    end_s: float | None = None
    heard: str = ""
    notes: tuple[str, ...] = ()
    clip: Audio | None = None


@dataclass(frozen=True)
class TakesResult:
    """The result for every line in script order, the sounds that were no line, and notes on recordings."""

    lines: tuple[LineResult, ...]
    unused: tuple[tuple[str, float, float, str], ...]
    notes: tuple[str, ...]
    recogniser: str = ""
    """Which recogniser heard it: its name, program and model, with their versions."""

    def to_dict(self) -> dict[str, Any]:
        """Return the result without its audio, ready for JSON."""
        lines = [{key: value for key, value in vars(line).items() if key != "clip"} for line in self.lines]
        names = ("recording", "start_s", "end_s", "heard")
        unused = [dict(zip(names, row, strict=True)) for row in self.unused]
        return {
            "schema": "cuelane.takes/1",
            "recogniser": self.recogniser,
            "lines": lines,
            "unused": unused,
            "notes": list(self.notes),
        }


def find_takes(
    recordings: Sequence[Path],
    lines: Sequence[str],
    *,
    accept: frozenset[int] = frozenset(),
    recogniser: str | None = None,
    language: str = "en",
    progress: Progress | None = None,
) -> TakesResult:
    """Find each of `lines` in `recordings` (in order; a later reading wins) and cut its clip.

    Parameters
    ----------
    lines : every distinct line of the script in its order; a line's number is its index + 1.
    accept : numbers of lines whose uncertain take a person has listened to and wants.
    recogniser : ``light``, ``strong`` or a folder with a model; None for the best that is installed.
    language : of the lines, as a plan names it.

    Raises
    ------
    UsageError : the recogniser asked for is not there, or does not know the language.
    VoiceError : there is no recogniser, or it failed.
    """
    engine = choose_engine(recogniser, language)
    notes: list[str] = []
    if engine is None and (engine := choose_engine(None, "en")) is not None:
        notes.append(
            f"no recogniser that knows {language!r} is installed: {engine.said} heard the lines as if they "
            f"were English, so most may be uncertain or missing{engine.hint}"
        )
    with ExitStack() as stack:
        opened: list[Recording] = []
        for path in recordings:
            scratch = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="cuelane-takes-")))
            opened.append(open_recording(path, scratch))
        result = _find(opened, lines, accept, engine, progress or (lambda done, total: None))
        return replace(result, notes=(*notes, *result.notes))


def _find(
    recordings: Sequence[Recording],
    lines: Sequence[str],
    accept: frozenset[int],
    engine: WordEngine | None,
    progress: Progress,
) -> TakesResult:
    numbers = [f"number {' '.join(spoken_words(str(n)))}" for n in range(1, min(len(lines), MAX_NUMBER) + 1)]
    hearing = line_hearing(engine, lines, numbers)
    split = []
    for recording in recordings:
        low, n_listen = recording.low_frames, recording.n_listen
        levels = measure_levels(low, n_listen, LISTEN_RATE)
        split.append((levels, split_at_pauses(low, n_listen, LISTEN_RATE, levels)))
    n_pieces = sum(len(pieces) for _, pieces in split)
    tones = [room_tone(r, pieces) for r, (_, pieces) in zip(recordings, split, strict=True)]
    quietest = min((level_db(tone) for tone in tones if tone is not None), default=0.0)
    done = 0
    takes: list[tuple[int, Take]] = []
    unused: list[tuple[str, float, float, str]] = []
    notes: list[str] = []
    heard_by: list[list[HeardPiece]] = []
    for index, (recording, (levels, pieces)) in enumerate(zip(recordings, split, strict=True)):
        rise = levels.speech_dbfs - levels.floor_dbfs
        if rise < NOISY_DB:
            where = recording.source.name
            notes.append(f"{where}: speech is only {rise:.0f} dB above the room; record closer")
        heard: list[HeardPiece] = []
        for number, piece in enumerate(pieces):
            before_s = pieces[number - 1].end_s if number else 0.0
            after_s = pieces[number + 1].start_s if number + 1 < len(pieces) else recording.seconds
            heard.extend(_listen(recording, piece, hearing, before_s, after_s))
            done += 1
            progress(done, n_pieces)
        heard = _number_pieces(heard)
        heard_by.append(heard)
        found = hearing.find(heard, recording.low)
        takes.extend((index, take) for take in found)
        used = [(take.start_s, take.end_s) for take in found]
        unused.extend(
            (recording.source.name, piece.start_s, piece.end_s, " ".join(piece.text))
            for piece in heard
            if not any(start <= piece.start_s < end for start, end in used)
        )
    listened = _Listened(recordings, heard_by, tones, quietest)
    results = []
    for number in range(1, len(lines) + 1):
        of_line = [(index, take) for index, take in takes if take.line == number - 1]
        results.append(_choose(number, of_line, lines, listened, accept))
    version = "" if engine is None else f"{engine.said}{engine.hint}"
    return TakesResult(tuple(results), tuple(unused), tuple(notes), version)


def _listen(
    recording: Recording,
    piece: SpokenPiece,
    hearing: LineHearing,
    before_s: float,
    after_s: float,
) -> Iterator[HeardPiece]:
    """Yield `piece` as heard; a line number read without a pause before its line becomes a piece of its own.

    Soft first and last sounds are below the gate, so recognition gets more than the piece, but never more
    than half of the pause before or after it.
    """
    begin = max(piece.start_s - _PAD_S, (before_s + piece.start_s) / 2)
    stop = min(piece.end_s + _PAD_S, (piece.end_s + after_s) / 2)
    words = tuple(
        HeardWord(word.text, start + word.onset_s, start + word.end_s)
        for start, end in parts_of(recording.low, begin, stop, hearing.longest_s)
        for word in hearing.hear(recording.low(start, end))
    )
    number, n_words = leading_number([word.text for word in words])
    if number is None or n_words == len(words):
        yield HeardPiece(piece.start_s, piece.end_s, words, number)
        return
    cut = (words[n_words - 1].end_s + words[n_words].onset_s) / 2
    yield HeardPiece(piece.start_s, cut, words[:n_words], number)
    yield HeardPiece(cut, piece.end_s, words[n_words:])


def _number_pieces(pieces: Sequence[HeardPiece]) -> list[HeardPiece]:
    """Take out the pieces that are only a line's number, and write the number on the piece that follows."""
    out: list[HeardPiece] = []
    number: int | None = None
    for piece in pieces:
        if piece.number is not None:
            number = piece.number
        else:
            out.append(HeardPiece(piece.start_s, piece.end_s, piece.words, number))
            number = None
    return out


def leading_number(words: Sequence[str]) -> tuple[int | None, int]:
    """Return (the number, how many words it takes) if `words` begin with "number" and a number."""
    if len(words) < 2 or words[0] != "number":
        return None, 0
    best: tuple[int | None, int] = (None, 0)
    for n_words in range(1, min(4, len(words) - 1) + 1):
        value = _VALUES.get(tuple(words[1 : 1 + n_words]))
        if value is not None:
            best = (value, n_words + 1)
    return best


_VALUES = {tuple(spoken_words(str(n))): n for n in range(1, MAX_NUMBER + 1)}


@dataclass(frozen=True)
class _Listened:
    """The recordings, what was heard in each, its room's tone, and the level of the quietest of those."""

    recordings: Sequence[Recording]
    heard_by: Sequence[Sequence[HeardPiece]]
    tones: Sequence[npt.NDArray[np.float64] | None]
    quietest_db: float


def _choose(
    number: int,
    takes: list[tuple[int, Take]],
    lines: Sequence[str],
    listened: _Listened,
    accept: frozenset[int],
) -> LineResult:
    """Return the last good take of a line, or the best of the doubtful ones, for a person to judge."""
    text, recordings = lines[number - 1], listened.recordings
    if not takes:
        return LineResult(number, text, "missing", notes=("not heard in any recording",))
    good = [
        (index, take)
        for index, take in takes
        if take.confidence >= SURE_TAKE and not is_clipped(recordings[index], take.start_s, take.end_s)
    ]
    index, take = good[-1] if good else max(takes, key=lambda row: row[1].confidence)
    recording = recordings[index]
    notes = []
    if good and (index, take) != takes[-1]:
        notes.append("a later reading was not as good; an earlier one is used")
    if is_clipped(recording, take.start_s, take.end_s):
        notes.append("recorded too loud: it is clipped")
    if take.confirmed:
        notes.append(f"heard {take.heard!r}, but its own words fit the sound as well")
    elif take.doubt and not good:
        notes.append(take.doubt)
    elif take.astray and not good:
        notes.append(f"heard {take.heard!r}, but out of order")
    elif not take.whole or take.likeness < SURE_TAKE:
        notes.append(f"heard {take.heard!r}")
    elif take.confidence < SURE_TAKE and take.rival_line is not None:
        notes.append(f"nearly as much like line {take.rival_line + 1}: {lines[take.rival_line]!r}")
    state = "placed" if good or number in accept else "uncertain"
    if take.confidence < LIKELY and state == "uncertain":
        notes.append("little of it was recognised")
    tone, heard = listened.tones[index], listened.heard_by[index]
    # The neighbours that a clip must not reach into: the sounds before and after it.
    ends = [piece.end_s for piece in heard if piece.end_s <= take.start_s]
    starts = [piece.start_s for piece in heard if piece.start_s >= take.end_s]
    clip = cut_take(
        recording,
        take.start_s,
        take.end_s,
        earliest_s=max(ends, default=0.0),
        latest_s=min(starts, default=recording.seconds),
        tone=tone,
        soften_by_db=0.0 if tone is None else level_db(tone) - listened.quietest_db,
    )
    return LineResult(
        number, text, state, round(take.confidence, 3), len(takes), recording.source.name,
        round(take.start_s, 3), round(take.end_s, 3), take.heard, tuple(notes), clip,
    )  # fmt: skip
