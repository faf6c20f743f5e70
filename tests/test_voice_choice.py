"""The voice of a plan that names none, and what is said when voice and plan do not go together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cuelane.audio.store import ClipStore
from cuelane.plan.load import load_plan
from cuelane.render.run import prepare
from cuelane.speech import choice, styled
from cuelane.speech.choice import default_voice, voice_notes
from cuelane.speech.definition import MeasuredQuality
from cuelane.speech.engines import ENGINES
from cuelane.speech.sound_doubts import sound_doubt
from cuelane.speech.voices import find_voice

PLAN = """title: T
language: {language}
{voice}session:
  - block: One
    pattern: circuit
    work: 20s
    rest: 10s
    exercises: [march]
exercises:
  march: {{}}
"""


@pytest.fixture(params=[True, False], ids=["with the extra", "without it"])
def installed(request, monkeypatch):
    engine = ENGINES["styled"]
    missing = "" if request.param else 'pip install ".[voices]"'
    monkeypatch.setitem(ENGINES, "styled", type(engine)(**{**vars(engine), "missing": lambda: missing}))
    return request.param


def test_each_language_has_its_voice(installed):
    """English keeps the light voice; others have a natural one with the extra, else the computer's own."""
    assert default_voice("en") == default_voice("en-GB") == "natural"
    assert default_voice("de") == "system-de"
    for language in ("es", "fr", "it", "pt-BR"):
        found = find_voice(default_voice(language))
        assert found.language[:2] == language[:2]
        assert found.engine == ("styled" if installed else "system")


def test_a_language_without_a_voice_gets_the_light_one_and_a_note(installed):
    """It is spoken all the same, and the note says what is wrong."""
    (note,) = voice_notes(find_voice(default_voice("sv")), "sv", chosen=False)

    assert "the voice natural speaks en-US, and the plan is in sv" in note
    assert note.endswith("none here")


def test_a_voice_of_another_language_is_told_with_those_that_fit(installed):
    """Where a fitting voice is not installed, the command stands beside it."""
    (note,) = voice_notes(find_voice("natural"), "es", chosen=True)
    extra = "" if installed else ' (pip install ".[voices]")'

    assert note == (
        "the voice natural speaks en-US, and the plan is in es: its words will be said wrongly. "
        f"Voices for it: encina{extra}, olmo{extra}, system-es"
    )
    assert voice_notes(find_voice("hawthorn"), "en", chosen=True) == []
    assert voice_notes(find_voice("jacaranda"), "pt", chosen=True) == []


def test_the_computers_own_voice_is_a_stopgap_that_is_told(installed, monkeypatch):
    """Only where nobody chose it, and where a better one exists."""
    monkeypatch.setattr("cuelane.speech.choice.sys.platform", "linux")
    notes = voice_notes(find_voice(default_voice("fr")), "fr", chosen=False)

    assert (notes == []) == installed
    assert all('pip install ".[voices]"' in note for note in notes)
    assert voice_notes(find_voice("system-fr"), "fr", chosen=True) == []
    assert voice_notes(find_voice("system-de"), "de", chosen=False) == []


@pytest.mark.parametrize(
    ("platform", "match", "told"),
    [
        ("linux", 0.374, " (a recogniser understood 37% of its letters);"),
        ("linux", 0.96, "voice;"),
        ("win32", 0.374, "voice;"),
    ],
)
def test_how_far_the_computers_own_voice_is_understood_is_told(monkeypatch, platform, match, told):
    """Where it is the one that was measured, Linux's, and less than is aimed at was understood."""
    monkeypatch.setattr("cuelane.speech.choice.sys.platform", platform)
    voice = find_voice("system-fr")
    measured = MeasuredQuality(n_cues=200, words_per_min=200, dnsmos=3, recall=0.3, character_match=match)
    settings = voice.settings.model_copy(update={"measured": measured})

    *_, note = voice_notes(replace(voice, settings=settings), "fr", chosen=False)

    assert told in note


def test_recordings_are_anybodys_language_but_what_falls_back_is_not(tmp_path):
    """A folder of recordings says no language; lines that another voice speaks for it are told."""
    (tmp_path / "voices" / "ana").mkdir(parents=True)
    (tmp_path / "voices" / "ana" / "index.toml").write_text("clips = []\n", encoding="utf-8")
    ana = find_voice("ana", tmp_path)

    assert voice_notes(ana, "es", chosen=True) == []
    (note,) = voice_notes(ana, "es", chosen=True, fell_back=True)
    assert "natural speaks en-US" in note


@pytest.mark.parametrize("written", ["", "voice: system\n"])
def test_a_plan_that_names_no_voice_gets_the_languages(tmp_path, monkeypatch, written):
    """A name in the plan, and one on the command line, come before the language's."""
    path = tmp_path / "plan.yaml"
    path.write_text(PLAN.format(language="en-GB", voice=written), encoding="utf-8")
    asked = []
    monkeypatch.setitem(choice._FIRST_CHOICES, "en", ("system-de",))
    loaded = load_plan(path, default_voice=lambda language: asked.append(language) or "hawthorn")

    assert loaded.plan.voice == ("system" if written else "hawthorn")
    assert loaded.names_voice == bool(written)
    assert asked == ([] if written else ["en-GB"])
    assert load_plan(path).plan.voice == ("system" if written else "natural")
    store = ClipStore(tmp_path)
    assert prepare(path, speak=False, store=store).voiced.voice.name == ("system" if written else "system-de")
    assert prepare(path, speak=False, store=store, voice="natural").voiced.voice.name == "natural"


def test_a_doubted_line_reaches_the_person(tmp_path, monkeypatch):
    """What a rule hears in a spoken line is told with the session's other notes."""
    path = tmp_path / "plan.yaml"
    path.write_text(PLAN.format(language="en", voice="voice: linden\n"), encoding="utf-8")
    n_frames = np.arange(2_400)

    class Model:
        def infer(self, symbols, style, speed):
            return (0.2 * np.sin(0.05 * n_frames) * (1 - n_frames / 2_400)).astype(np.float32)

    monkeypatch.setattr(styled, "_model", Model)
    doubts = prepare(path, store=ClipStore(tmp_path)).voiced.doubts

    assert doubts
    assert all(said.startswith("linden: it takes 0.") for said in doubts.values())


RATE = 24_000


def sound(*parts):
    """Return tones and silences of so many seconds one after another: (loudness, seconds) each."""
    pieces = [level * np.sin(np.arange(round(length * RATE)) / 20) for level, length in parts]
    return np.concatenate(pieces).astype(np.float32)


WHOLE = ((0, 0.1), (0.2, 0.5), (0.02, 0.1), (0, 0.2))
DOUBTS = {
    "no sound": ((), "there is no sound"),
    "silence": (((0, 1.0),), "it is nearly silent"),
    "faint": (((0.001, 1.0), (0, 0.2)), "it is nearly silent"),
    "short": (
        ((0, 0.1), (0.2, 0.15), (0.02, 0.05), (0, 0.2)),
        "it takes 0.2 s, where about 0.6 s were expected",
    ),
    "long": (((0.2, 2.5), (0.02, 0.1), (0, 0.2)), "it takes 2.6 s, where about 0.6 s"),
    "hole": (
        ((0.2, 0.3), (0, 0.7), (0.2, 0.2), (0.02, 0.1), (0, 0.2)),
        "there is a silence of over 0.6 s inside",
    ),
    "cut": (((0, 0.1), (0.2, 0.5)), "its end is cut off"),
    "whole": (WHOLE, ""),
}


@pytest.mark.parametrize(("parts", "doubt"), DOUBTS.values(), ids=DOUBTS.keys())
def test_each_rule_hears_its_fault(parts, doubt):
    """A sound made to have one fault has that one, and a whole one has none."""
    samples = sound(*parts) if parts else np.zeros(0, np.float32)
    said = sound_doubt(samples, RATE, "Rest.", 1.0 if "silence" in doubt else 0.6)

    assert said.startswith(doubt) if doubt else said == ""


def test_marks_may_be_heard_as_pauses_and_unknown_lengths_are_not_judged():
    """A comma explains a hole; without a known length neither short nor long is a fault."""
    held = sound((0.2, 0.3), (0, 0.7), (0.2, 0.2), (0.02, 0.1), (0, 0.2))

    assert sound_doubt(held, RATE, "Rest, now.", None) == ""
    assert sound_doubt(held, RATE, "Rest. Now.", None) == ""
    assert sound_doubt(held, RATE, "Rest now.", None).startswith("there is a silence")
    assert sound_doubt(sound(*WHOLE), RATE, "Rest.", None) == ""


def test_a_trimmed_clip_is_not_taken_for_a_cut_one():
    """A clip ends with its sound; only what an engine gave can be cut off."""
    clip = sound((0.2, 0.5))

    assert sound_doubt(clip, RATE, "Rest.", 0.6, trimmed=True) == ""
    assert sound_doubt(clip, RATE, "Rest.", 0.6) == "its end is cut off"


def test_a_voice_that_the_computer_is_set_to_may_speak_another_language(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """On Windows and macOS no voice is named for these languages: said, whether it was chosen or not."""
    monkeypatch.setattr("cuelane.speech.choice.sys.platform", "win32")
    for chosen in (False, True):
        notes = voice_notes(find_voice("system-es"), "es", chosen=chosen)
        assert any("make sure that it speaks es" in note for note in notes)
    assert voice_notes(find_voice("natural"), "en", chosen=False) == []
