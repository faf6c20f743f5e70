"""A class without captions, from its recording to a track in which the kept words are heard."""

from __future__ import annotations

import importlib.metadata
import json
from difflib import SequenceMatcher

import numpy as np
import pytest
import soundfile

import classgen as gen
from cuelane.adapt import analysis
from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.report import doubts
from cuelane.adapt.run import adapt_recording
from cuelane.adapt.words import recognising
from cuelane.adapt.words.found_cues import FoundCue
from cuelane.adapt.words.islands import Hearing, Island
from cuelane.adapt.words.recognising import heard_cue, recognise
from cuelane.adapt.words.word_lists import plain
from cuelane.plan.load import load_plan
from cuelane.plan.values import MAX_TEXT
from cuelane.recording.recogniser import LISTEN_RATE, HeardWord, ScriptListener
from cuelane.recording.word_engines import WordEngine
from test_adapt_structure import recording


@pytest.fixture(scope="module")
def uncaptioned(tmp_path_factory):
    folder = tmp_path_factory.mktemp("uncaptioned")
    made = gen.generate(31, work_s=12.0, rest_s=8.0, n_sets=2, doorbell=False)
    soundfile.write(folder / "class.wav", made.samples, gen.SAMPLE_RATE)
    # The light recogniser, since every machine that tests has it.
    found = adapt_recording(folder / "class.wav", folder / "out", AdaptOptions(recogniser="light"))
    return folder, made, found


def in_order(wanted: list[str], heard: list[str]) -> float:
    blocks = SequenceMatcher(None, wanted, heard, autojunk=False).get_matching_blocks()
    return sum(block.size for block in blocks) / len(wanted)


def test_every_phrase_becomes_a_cue_with_most_of_its_words(uncaptioned):
    """Each phrase lies whole in one cue, and half of all words or more are recognised in order."""
    _, made, adapted = uncaptioned
    cues = adapted.analysis.cues

    for _, onset_s, end_s in made.phrases:
        assert any(cue.start_s < onset_s + 0.005 and end_s - 0.005 < cue.end_s for cue in cues)
    spoken = [plain(part) for word in made.words for part in word.text.split()]
    assert in_order(spoken, plain(" ".join(cue.text for cue in cues)).split()) >= 0.5


def test_the_report_says_which_recogniser_was_used(uncaptioned):
    """By name and version: in the text, for people and as JSON."""
    folder, _, adapted = uncaptioned
    version = f"pocketsphinx {importlib.metadata.version('pocketsphinx')}"

    assert adapted.analysis.recogniser == version
    assert any(f"by the light recogniser ({version})" in doubt for doubt in doubts(adapted.analysis))
    assert f"recognised by machine ({version})" in (folder / "out" / "report.md").read_text(encoding="utf-8")
    report = json.loads((folder / "out" / "report.json").read_text(encoding="utf-8"))
    assert report["recogniser"] == version


def test_doubtful_words_are_named(uncaptioned):
    """The report says that a machine heard the words, and the decisions file which are doubtful."""
    folder, _, adapted = uncaptioned

    assert any("recognised by machine" in doubt for doubt in doubts(adapted.analysis))
    assert "heard with little certainty: " in (folder / "out" / "decisions.txt").read_text(encoding="utf-8")


def test_the_kept_words_are_heard_in_the_track_in_order(uncaptioned, monkeypatch):
    """A recogniser finds as many of the kept words in the new track as in the recording, or one less."""
    import soxr

    from cuelane.render.run import RenderOptions, render

    folder, made, adapted = uncaptioned
    monkeypatch.setenv("CUELANE_CACHE", str(folder / "cache"))
    # The title and the cautions are spoken by a voice: of no use here, and slow.
    plan = folder / "out" / "unspoken.yaml"
    text = (folder / "out" / "plan.yaml").read_text(encoding="utf-8")
    plan.write_text(text.replace("language:", "cautions: none\nlanguage:", 1), encoding="utf-8")
    result = render(plan, folder / "track.wav", RenderOptions(extras=False))
    schedule = result.prepared.schedule
    kept = [cue for cue, keep in zip(adapted.analysis.cues, adapted.kept, strict=True) if keep]
    after = [
        (event.onset_sample / schedule.sample_rate, event.end_sample / schedule.sample_rate)
        for event in schedule.events
        if event.kind == "cue" and event.text in {cue.text for cue in kept}
    ]
    spans = {"class.wav": [(cue.start_s, cue.end_s) for cue in kept], "track.wav": after}
    spoken = [
        plain(part)
        for word in made.words
        if any(a < (word.onset_s + word.end_s) / 2 < b for a, b in spans["class.wav"])
        for part in word.text.split()
    ]
    listener = ScriptListener([text for text, _, _ in made.phrases])
    found = {}
    for name, stretches in spans.items():
        samples, rate = soundfile.read(folder / name, dtype="float32")
        low = soxr.resample(samples, rate, LISTEN_RATE)
        heard = [
            word.text
            for a, b in stretches
            for word in listener.hear(low[round((a - 0.15) * LISTEN_RATE) : round((b + 0.15) * LISTEN_RATE)])
        ]
        found[name] = in_order(spoken, heard)

    assert len(after) == len(kept)
    assert found["class.wav"] >= 0.9
    assert found["track.wav"] >= found["class.wav"] - 1.01 / len(spoken)


def test_without_a_recogniser_the_clips_have_no_words(uncaptioned, monkeypatch, tmp_path):
    """Every sound is kept as a clip, the plan loads, and the report says what that means."""
    folder, made, _ = uncaptioned
    monkeypatch.setattr(analysis, "choose_engine", lambda asked, language: None)

    adapted = adapt_recording(folder / "class.wav", tmp_path / "out")

    assert all(adapted.kept)
    assert len(adapted.kept) >= len(made.phrases) - 1
    assert recognising.NO_ENGINE in doubts(adapted.analysis)
    assert load_plan(tmp_path / "out" / "plan.yaml").plan.title == "class"


@pytest.mark.parametrize(
    ("heard", "written"),
    [
        ("and swap sides.", "And swap sides."),
        ("10 seconds to go", "10 seconds to go."),
        ("so, left foot,", "So, left foot."),
        ("Ready?", "Ready?"),
        ("iPhones away", "iPhones away."),
        ("Step -ups, hold foot on the step.", "Step-ups, hold foot on the step."),
        ("slow, 3 -2 -1, and 2 .5 kilos", "Slow, 3-2-1, and 2.5 kilos."),
        ("slow - and down", "Slow - and down."),
        ("\u201cand rest\u201d", "\u201cAnd rest\u201d."),
        ("...", "..."),
        ("", ""),
        ("x" * MAX_TEXT, "X" + "x" * (MAX_TEXT - 1)),
    ],
)
def test_what_was_heard_is_written_as_a_sentence(heard, written):
    """A recogniser begins and ends where it was given sound; the clip is a caption of its own."""
    cue = FoundCue(0.0, 1.0, heard, "say", 0)

    assert heard_cue(cue).text == written


class Listener:
    """Hears the same two words in every piece; notes how long the pieces are."""

    longest_s, join_s = 5.0, 1.0

    def __init__(self):
        self.lengths_s = []

    def hear(self, samples):
        self.lengths_s.append(len(samples) / LISTEN_RATE)
        return [HeardWord("Heels", 0.1, 0.4, False, 0.9), HeardWord("heavy.", 0.4, 0.8, False, 0.2)]


def test_another_recogniser_makes_the_analysis_anew(uncaptioned, monkeypatch):
    """Its name and version are part of what an analysis depends on, and no piece is longer than it takes."""
    folder, _, _ = uncaptioned
    listener = Listener()
    engine = WordEngine("strong", "another 1.0", "en", lambda: listener)
    monkeypatch.setattr(analysis, "choose_engine", lambda asked, language: engine)

    again = adapt_recording(folder / "class.wav", folder / "out")

    assert not again.reused
    assert again.analysis.recogniser == "another 1.0"
    assert max(listener.lengths_s) <= 5.01
    words = [word for cue in again.analysis.cues for word in cue.words]
    assert {word.text for word in words} == {"Heels", "heavy."}
    assert {word.sure for word in words if word.text == "heavy."} == {False}
    n_heard = len(listener.lengths_s)
    assert adapt_recording(folder / "class.wav", folder / "out").reused
    assert len(listener.lengths_s) == n_heard


@pytest.mark.parametrize(
    ("name", "posteriors", "is_told"),
    [
        ("strong", (0.9, 0.2), True),
        ("strong", (0.9, 0.8), False),
        # The light one doubts as much of plain English.
        ("light", (0.9, 0.2), False),
    ],
)
def test_many_doubtful_words_may_be_of_another_language(name, posteriors, is_told):
    """A class in Spanish is heard as English that nobody said, and nothing else would tell."""
    heard = [
        HeardWord("Heels", 0.1, 0.4, False, posteriors[0]),
        HeardWord("up.", 0.4, 0.8, False, posteriors[1]),
    ]
    listener = Listener()
    listener.hear = lambda samples: heard
    noise = np.random.default_rng(8).normal(0, 0.05, 3 * gen.SAMPLE_RATE).astype(np.float32)
    engine = WordEngine(name, f"1.0 {posteriors}", "en", lambda: listener)
    _, told = recognise(
        [Island(1.0, 2.0)], Hearing(recording(noise), None, []), lambda done, total: None, engine
    )

    assert ("perhaps not in English" in told) is is_told
