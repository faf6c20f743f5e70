"""Captions as programs write them: cut in the middle of sentences, a word alone, sound without words."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from classgen import KINDS, GeneratedClass, TrueWord
from classgen_captions import rolling
from classgen_speech import SAMPLE_RATE, formant, prepare_formant
from cuelane.adapt.words import align
from cuelane.adapt.words.align import place_words
from cuelane.adapt.words.caption_reader import ReadCaption
from cuelane.adapt.words.islands import Hearing
from cuelane.adapt.words.placed_word import PlacedWord
from cuelane.adapt.words.stray_words import gathered
from cuelane.recording.recogniser import LISTEN_RATE, Aligner
from test_adapt_structure import recording

LINES = (
    "And rest.", "Side lunge next.", "Rest.", "Take your feet wide.", "Keep the other leg long.",
    "Your heel stays down.", "Change sides.", "Climbers.", "Drive the floor away.", "Relax.",
    "If that bothers your knees make the step smaller.", "Long spine.", "Press through your heels.",
    "That was the short round.", "Roll over.", "Squats to finish.", "You.",
    "If anything hurts, stop.", "Stand tall.", "Done.", "Walk it off slowly.",
)  # fmt: skip


def spoken(lines: tuple[str, ...], seed: int, pauses_s: Mapping[int, float] | None = None) -> GeneratedClass:
    """Return `lines` said one after another, with the truth of their words.

    `pauses_s` are those after the line of a number; the others last 0.7 to 2.4 s.
    """
    prepare_formant(list(lines))
    rng = np.random.default_rng(seed)
    at, parts, words = SAMPLE_RATE, [np.zeros(SAMPLE_RATE, np.float32)], []
    for number, line in enumerate(lines):
        said = formant(line)
        words += [
            TrueWord(w.text, (at + w.onset_sample) / SAMPLE_RATE, (at + w.end_sample) / SAMPLE_RATE)
            for w in said.words
        ]
        pause_s = (pauses_s or {}).get(number, float(rng.uniform(0.7, 2.4)))
        pause = np.zeros(round(pause_s * SAMPLE_RATE), np.float32)
        parts += [said.samples, pause]
        at += len(said.samples) + len(pause)
    sound = np.concatenate(parts)
    sound += rng.standard_normal(len(sound)).astype(np.float32) * np.float32(1e-3)
    return GeneratedClass(sound, [], [], words, [], KINDS[0], sound)


@pytest.mark.parametrize("seed", [1, 3])
def test_words_of_captions_that_are_cut_anywhere_are_placed(seed):
    """A sentence's word in another's caption lies with its own, a pause later; no caption is lost."""
    made = spoken(LINES, seed)
    rows = [ReadCaption(c.start_s, c.end_s, c.text) for c in rolling(made, seed)]

    words, lost = place_words(rows, Hearing(recording(made.samples), None, []))

    # Of two words that the voice runs together only the first has an onset.
    truth = [
        (part.strip(".,"), w.onset_s if k == 0 else np.nan)
        for w in made.words
        for k, part in enumerate(w.text.lower().split())
    ]
    assert lost == []
    assert [word.text for word in words] == [text for text, _ in truth]
    error = np.abs([word.onset_s - onset for word, (_, onset) in zip(words, truth, strict=True)])
    error = error[~np.isnan(error)]
    assert error.max() <= 0.25
    assert np.mean(error <= 0.1) >= 0.95


def test_words_of_two_groups_that_begin_alike_are_not_mixed():
    """What comes, and a pause later its set in the same words: each is put where it was said."""
    lines = (
        "Swing your arms like you're off to the shops.", "Feet land quietly.", "Hips.",
        "If you've had a hip done, keep your knees lower than your hips.",
        "First up is seated marching, so sit forward on your chair.",
        "Seated marching. Sit tall and lift one knee at a time.",
        "Swing your arms like you're off to the shops.", "Feet land quietly.",
    )  # fmt: skip
    made = spoken(lines, 1, {**dict.fromkeys(range(len(lines)), 1.0), 4: 3.3})
    rows = [ReadCaption(c.start_s, c.end_s, c.text) for c in rolling(made, 2)]

    words, lost = place_words(rows, Hearing(recording(made.samples), None, []))

    assert lost == []
    assert [word.text for word in words] == [part for row in rows for part in row.text.split()]


def test_a_caption_that_fits_beside_the_next_is_not_lost(monkeypatch: pytest.MonkeyPatch):
    """Alone it fitted nowhere; together with the group that it was crossed with it does, and is placed."""
    rows = [ReadCaption(0.0, 2.0, "a"), ReadCaption(2.0, 4.0, "b"), ReadCaption(60.0, 62.0, "c")]
    at = {0: 1.0, 1: 3.0, 2: 61.0}

    def aligned(_: Aligner, __: object, ___: object, first: int, last: int, ____: float):
        if (first, last) in ((0, 2), (0, 1)):
            return None
        early = 2.5 if (first, last) == (2, 3) else None
        return [
            PlacedWord(rows[n].text, early or at[n], (early or at[n]) + 0.2, n) for n in range(first, last)
        ]

    monkeypatch.setattr(align, "_align", aligned)
    monkeypatch.setattr(align, "_groups", lambda _: [(0, 2), (2, 3)])
    monkeypatch.setattr(align, "gathered", lambda words, *_: words)
    words, lost = place_words(rows, Hearing(recording(np.zeros(62 * SAMPLE_RATE, np.float32)), None, []))

    assert [word.text for word in words] == ["a", "b", "c"]
    assert lost == []


def test_words_are_found_however_long_the_sound_around_them_is():
    """Where the search gives up depends on chance; with beams as wide as here it gives up nowhere."""
    made, aligner = spoken(("Rest. Up you come.", "Squats to finish."), 5), Aligner()
    sound = Hearing(recording(made.samples), None, []).low(0.0, 60.0)
    words = ["rest", "up", "you", "come", "squats", "to", "finish"]

    found = [aligner.align(words, sound[: len(sound) - LISTEN_RATE * k // 200]) for k in range(20)]

    assert all(found)


def kept_onset(said: tuple[str, ...], stray: TrueWord, others: list[TrueWord], caption: ReadCaption) -> float:
    """Return where the word `stray` ends up, which a caption has before `others`; 2.2 s of slack."""
    made = spoken(said, 5)
    rows = [PlacedWord(w.text.strip("."), w.onset_s, w.end_s, 0) for w in (stray, *others)]

    found = gathered(rows, [caption], Aligner(), Hearing(recording(made.samples), None, []), 2.2)

    assert [word.text for word in found] == [row.text for row in rows]
    assert [word.onset_s for word in found[1:]] == [row.onset_s for row in rows[1:]]
    return found[0].onset_s


def test_a_word_is_left_where_it_was_said_alone_and_not_on_another_sound():
    """Where the sound of the caption's other words holds it, it goes back to them; else it stays."""
    said = ("Rest.", "Sit.", "Rest.", "Keep your heels heavy.")
    *_, rest, keep, your, heels, heavy = spoken(said, 5).words
    around = ReadCaption(rest.onset_s, heavy.end_s, "...")

    alone = kept_onset(said, rest, [keep, your, heels, heavy], around)
    on_another = kept_onset(said, TrueWord("keep", rest.onset_s, rest.end_s), [your, heels, heavy], around)

    assert keep.onset_s - rest.end_s > 1.2
    assert alone == rest.onset_s
    assert keep.onset_s <= on_another + 0.1 < your.onset_s


def test_a_word_farther_from_its_caption_than_captions_are_off_goes_back():
    """What the sound is like there counts for nothing."""
    said = ("Rest.", "Sit.", "Stand.", "Keep your heels heavy.")
    first, *_, keep, your, heels, heavy = spoken(said, 5).words
    late = ReadCaption(keep.onset_s, heavy.end_s, "...")

    found = kept_onset(said, TrueWord("rest", first.onset_s, first.end_s), [keep, your, heels, heavy], late)

    assert first.end_s < late.start_s - 2.2
    assert first.end_s < found < keep.onset_s
