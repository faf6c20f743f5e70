"""Captions, words on the audio, cues, roles, marking."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import classgen as gen
import classgen_captions as cap
from cuelane.adapt.align import place_words
from cuelane.adapt.captions import Caption, read_captions
from cuelane.adapt.countdown import Beep
from cuelane.adapt.cues import find_cues
from cuelane.adapt.hearing import Hearing
from cuelane.adapt.intervals import FoundInterval
from cuelane.adapt.pronouncing import phones, spoken_words
from cuelane.adapt.structure import Boundary
from cuelane.adapt.wordlists import plain, word_lists
from cuelane.errors import AudioFileError
from test_adapt_structure import recording

ROWS = [cap.Caption(1.5, 3.25, "keep your heels heavy"), cap.Caption(64.0, 66.5, "and rest <b>now</b>")]


@pytest.mark.parametrize("write", [cap.as_vtt, cap.as_srt], ids=["vtt", "srt"])
def test_timed_captions_are_read(tmp_path, write):
    """WebVTT and SubRip give the same captions, tags taken out."""
    path = tmp_path / "class.txt"
    path.write_text("\ufeff" + write(ROWS), encoding="utf-8")

    assert read_captions(path) == [
        Caption(1.5, 3.25, "keep your heels heavy"),
        Caption(64.0, 66.5, "and rest now"),
    ]


def test_plain_timed_text_is_read(tmp_path):
    """A time before each line is enough; a line without one goes with the line before it."""
    path = tmp_path / "class.txt"
    path.write_text("0:01 keep your heels\nheavy\n[1:02:04] and rest\n", encoding="utf-8")

    found = read_captions(path)

    assert [(c.start_s, c.text) for c in found] == [(1.0, "keep your heels heavy"), (3724.0, "and rest")]


def test_an_untimed_line_is_refused_with_its_place(tmp_path):
    """Text without a time is an error that names file and line."""
    path = tmp_path / "class.txt"
    path.write_text("\nhello there\n", encoding="utf-8")

    with pytest.raises(AudioFileError, match=r"class\.txt:2: 'hello there' has no time before it"):
        read_captions(path)


def test_words_are_said_as_they_are_written_for_the_recogniser():
    """Numbers become words, punctuation goes, and a word of no dictionary gets phones."""
    assert spoken_words("10 seconds, knee-high: 3 – don't stop!") == [
        "ten", "seconds", "knee", "high", "three", "don't", "stop",
    ]  # fmt: skip
    assert phones("glutes") == "G L UW T S"


@pytest.fixture(scope="module")
def placed():
    made = gen.generate(8, work_s=14.0, rest_s=9.0, n_sets=3)
    kind = made.kind
    short = (kind.count, kind.frequency_hz, kind.short_s, kind.spacing_s)
    beep = Beep(kind.long_frequency_hz, kind.long_s, *short)
    hearing = Hearing(recording(made.samples), beep, [Boundary(at, 0.9) for at in made.boundaries_s])
    captions = [Caption(c.start_s, c.end_s, c.text) for c in cap.captions(made, 3, late_s=2.0, wrong=0.0)]
    words, lost = place_words(captions, hearing)
    return made, hearing, words, lost


def test_words_are_placed_within_coarse_captions(placed):
    """With captions up to 2 s off, at least 85 of 100 words are within 50 ms and 95 within 100 ms.

    The issue's aim, 90 of 100 on larger sets, is measured by tests/benchmarks/bench_adapt.py.
    """
    made, _, words, lost = placed
    truth = [(plain(w.text.split()[0]), w.onset_s) for w in made.words]
    heard = [word for word in words if plain(word.text) not in {"the", "a", "of", "to"}]
    kept = [row for row in truth if row[0] not in {"the", "a", "of", "to"}]
    assert [plain(w.text) for w in heard] == [text for text, _ in kept]
    error = np.abs(np.array([w.onset_s for w in heard]) - [onset for _, onset in kept])

    assert lost == []
    assert np.mean(error <= 0.05) >= 0.85
    assert np.mean(error <= 0.10) >= 0.95


def test_no_clip_begins_or_ends_inside_a_word(placed):
    """Cues are cut in the quiet between words, by the generator's own truth."""
    made, hearing, words, _ = placed
    whole = [FoundInterval("work", 0.0, hearing.seconds, hearing.seconds, False)]

    cues = find_cues(words, whole, hearing, word_lists())

    edges = [edge for cue in cues for edge in (cue.start_s, cue.end_s)]
    assert len(cues) >= 8
    assert not any(w.onset_s + 0.02 < edge < w.end_s - 0.02 for edge in edges for w in made.words)


@pytest.mark.parametrize(
    ("text", "in_rest", "first", "role"),
    [
        ("Ten seconds left.", False, False, "time"),
        ("Switch sides.", False, False, "side"),
        ("Great work, stay with it.", False, False, "praise"),
        ("If that hurts, make it smaller.", False, False, "easier"),
        ("For more, hold at the bottom.", False, False, "harder"),
        ("Next up is the plank.", True, True, "preview"),
        ("Goblet squat. Weight held at your chest.", False, True, "setup"),
        ("Plank.", False, True, "announce"),
        ("Knees track over your toes.", False, False, "form"),
    ],
)
def test_a_cue_has_the_role_its_words_have(text, in_rest, first, role):
    """Roles follow the words, and else the place."""
    assert word_lists().role(text, in_rest=in_rest, first=first) == role


def test_what_points_at_a_picture_is_marked():
    """The lists mark a plain case, name the words that decided, and leave a near miss alone."""
    lists = word_lists()

    assert lists.reasons("Watch how my knee tracks over the toe.") == ("points at a picture",)
    assert lists.pointing_words("Hold it like this, and breathe.") == ("like", "this")
    assert lists.reasons("Watch your knees on this step.") == ()
    assert lists.pointing_words("Watch your knees on this step.") == ()


def test_channel_talk_and_asides_are_marked():
    """Talk about the channel and words to somebody in the room are named for what they are."""
    lists = word_lists()

    assert lists.reasons("Leave a comment below.") == ("talks to viewers about the channel",)
    assert lists.reasons("The links to both bands are below.") == ("talks to viewers about the channel",)
    assert lists.reasons("Sorry about that, the doorbell.") == ("an aside, not for the listener",)
    assert lists.reasons("Keep your heels heavy.") == ()


def test_captions_of_no_use_are_refused(tmp_path):
    """A file with no time in it says what was expected."""
    path = tmp_path / "empty.vtt"
    path.write_text("WEBVTT\n\n", encoding="utf-8")

    with pytest.raises(AudioFileError, match="no captions found; expected WebVTT, SubRip, or lines"):
        read_captions(Path(path))
