"""A voice beside a plan is a stranger's: nothing in it hangs, exhausts, leads out or ends in a traceback."""

from __future__ import annotations

import json
import os
import sys
import time

import numpy as np
import pytest
import soundfile

from cuelane.audio.store import ClipStore
from cuelane.base.errors import CuelaneError, PlanError, UsageError, VoiceError
from cuelane.speech import bounded_toml, model_process, natural
from cuelane.speech.definition import Engine, Recordings, Voice, longest_s
from cuelane.speech.engines import ENGINES, engine_of, load_voice
from cuelane.speech.estimate import estimate_seconds
from cuelane.speech.natural import NaturalVoice, model_path
from cuelane.speech.speak import clip_from_file, speak_all
from cuelane.speech.voices import find_voice, readable_voices
from cuelane.speech.wording import spoken_words

posix = pytest.mark.skipif(
    sys.platform == "win32", reason="Windows has no named pipes, devices or links that anybody may make"
)
OWN_MODEL = model_path(find_voice("natural"))
OWN_CONFIG = json.loads(OWN_MODEL.with_name(f"{OWN_MODEL.name}.json").read_text(encoding="utf-8"))


def put(plan, name, content) -> None:
    path = plan / "voices" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content.encode() if isinstance(content, str) else content)


def holes(path, n_bytes=3 * 10**9):
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        file.truncate(n_bytes)


def with_model(plan, *, config=None, model=None, more="") -> None:
    """Write a voice `x` with a model of its own."""
    put(plan, "x.toml", f'engine = "natural"\n[model]\nfile = "m.onnx"\n{more}')
    put(plan, "m.onnx", b"none" if model is None else model)
    put(plan, "m.onnx.json", json.dumps({**OWN_CONFIG, **(config or {})}))


def inference(**values):
    return {"inference": {**OWN_CONFIG["inference"], **values}}


ODD_CONFIGS = {
    "length scale of a million": (inference(length_scale=1e6), "length_scale"),
    "negative length scale": (inference(length_scale=-1), "length_scale"),
    "length scale in words": (inference(length_scale="1"), "length_scale"),
    "noise without end": (inference(noise_scale=float("inf")), "noise_scale"),
    "rate of 1 Hz": ({"audio": {"sample_rate": 1}}, "sample_rate"),
    "rate of a gigahertz": ({"audio": {"sample_rate": 10**9}}, "sample_rate"),
    "rate as text": ({"audio": {"sample_rate": "22050"}}, "sample_rate"),
    "no rate": ({"audio": {}}, "sample_rate"),
    "audio as a list": ({"audio": [1]}, "audio"),
    "no speakers": ({"num_speakers": 0}, "num_speakers"),
    "endless speakers": ({"num_speakers": 10**12}, "num_speakers"),
    "default speaker that is none": ({"default_speaker_id": 5}, "default_speaker_id"),
    "map of text": ({"phoneme_id_map": {"^": "1", "$": [2], "_": [0]}}, "phoneme_id_map"),
    "map without an end": ({"phoneme_id_map": {"^": [1], "_": [0]}}, "phoneme_id_map"),
    "map with long values": ({"phoneme_id_map": {"^": [1] * 10**4, "$": [2], "_": [0]}}, "phoneme_id_map"),
    "map that is a number": ({"phoneme_id_map": 3}, "phoneme_id_map"),
    "huge map": ({"phoneme_id_map": {str(n): [1] for n in range(5_000)}}, "phoneme_id_map"),
    "a kind that downloads": ({"phoneme_type": "pinyin"}, "phoneme_type"),
    "voice that leads elsewhere": ({"espeak": {"voice": "../../../etc/x"}}, "espeak.voice"),
    "voice with a NUL": ({"espeak": {"voice": "en\0us"}}, "espeak.voice"),
}


@pytest.mark.parametrize(("config", "key"), ODD_CONFIGS.values(), ids=ODD_CONFIGS.keys())
def test_a_models_numbers_are_bounded(tmp_path, config, key):
    """Each number that time or memory is multiplied by is refused, by its key, before any model is loaded."""
    with_model(tmp_path, config=config)
    with pytest.raises(PlanError, match=r"m\.onnx\.json") as caught:
        load_voice(find_voice("x", tmp_path))
    assert key in str(caught.value)


@pytest.mark.parametrize(
    "content", ["[" * 500_000, '{"a":' * 150_000, "\xff\xfe", "", "3", "9" * 5_000, "null"]
)
def test_a_models_settings_that_are_none_are_told(tmp_path, content):
    """Nested, cut, in another encoding or of another kind."""
    with_model(tmp_path)
    put(tmp_path, "m.onnx.json", content.encode("latin-1"))
    with pytest.raises(PlanError, match=r"m\.onnx\.json"):
        load_voice(find_voice("x", tmp_path))


def test_a_speaker_that_the_model_does_not_have_is_told(tmp_path):
    """Counted from 0, with the line of the definition."""
    with_model(tmp_path, more="speaker = 7\n")
    with pytest.raises(PlanError, match=r"x\.toml:4.*this model has 1"):
        load_voice(find_voice("x", tmp_path))


@posix
def test_links_lead_nowhere(tmp_path):
    """A model, its settings or an index that links outside the plan's folder is refused."""
    plan, outside = tmp_path / "plan", tmp_path / "outside"
    outside.write_text(json.dumps(OWN_CONFIG))
    with_model(plan)
    (plan / "voices" / "m.onnx.json").unlink()
    (plan / "voices" / "m.onnx.json").symlink_to(outside)
    with pytest.raises(PlanError, match="lies outside"):
        load_voice(find_voice("x", plan))
    with_model(tmp_path / "other")
    (tmp_path / "other" / "voices" / "m.onnx").unlink()
    (tmp_path / "other" / "voices" / "m.onnx").symlink_to(OWN_MODEL)
    with pytest.raises(PlanError, match="lies outside"):
        load_voice(find_voice("x", tmp_path / "other"))
    put(plan, "r/voice.toml", 'engine = "recorded"\n')
    (plan / "voices" / "r" / "index.toml").symlink_to(outside)
    with pytest.raises(PlanError, match="lies outside"):
        load_voice(find_voice("r", plan))


@pytest.mark.parametrize("index", ["index.toml", "index.json"])
def test_a_control_character_in_the_name_of_a_recording_is_told(index, tmp_path):
    """Which one, where, and what to do, in words for a person; the character itself is not printed."""
    put(tmp_path, "r/voice.toml", f'engine = "recorded"\nindex = "{index}"\n')
    clip = '"file": "a\\u0007.wav"' if index.endswith("json") else 'file = "a\\u0007.wav"'
    of = '{"clips": [{"text": "Rest.", %s}]}' if index.endswith("json") else 'clips = [{text = "Rest.", %s}]'
    put(tmp_path, f"r/{index}", of % clip)

    with pytest.raises(PlanError) as told:
        load_voice(find_voice("r", tmp_path))

    (problem,) = told.value.problems
    assert problem.message == (
        "file of item 1 of clips: a file's name has no control characters, but character 2 of this one is "
        "U+0007; write the name again without it"
    )


@posix
def test_pipes_links_in_circles_and_holes_are_told(tmp_path):
    """None is waited for or read: each file of a voice, in each odd form, ends in a message at once."""
    started_s = time.process_time()
    for form in ("fifo", "circle", "holes", "folder"):
        for name in ("x.toml", "m.onnx", "m.onnx.json", "l.pls", "a/index.toml", "a/r.wav"):
            plan = tmp_path / form / name.replace("/", "-")
            with_model(plan)
            put(plan, "x.toml", 'engine = "natural"\nlexicon = "l.pls"\n[model]\nfile = "m.onnx"\n')
            put(plan, "l.pls", "")
            put(plan, "a/index.toml", 'clips = [{text = "Rest.", file = "r.wav"}]\nfallback = 1\n')
            path = plan / "voices" / name
            path.unlink(missing_ok=True)
            {
                "fifo": os.mkfifo,
                "circle": lambda one: one.symlink_to(one),
                "holes": holes,
                "folder": os.mkdir,
            }[form](path)
            voice = "a" if name.startswith("a/") else "x"
            with pytest.raises(CuelaneError):
                speak_all(["Rest."], find_voice(voice, plan), store=ClipStore(tmp_path / "clips"))
    # Processor time, which does not depend on what else runs; what waits for ever never comes here.
    assert time.process_time() - started_s < 60


@posix
def test_a_recording_of_holes_or_a_pipe_falls_back(tmp_path):
    """A three-gigabyte hole is not read to say that it is no recording; lost ones say what to do."""
    put(tmp_path, "a/index.toml", "".join(f'[[clips]]\ntext = "{n}"\nfile = "{n}.wav"\n' for n in "abcd"))
    folder = tmp_path / "voices" / "a"
    holes(folder / "a.wav")
    os.mkfifo(folder / "b.wav")
    (folder / "d.wav").symlink_to(folder / "d.wav")
    recordings = load_voice(find_voice("a", tmp_path))

    assert isinstance(recordings, Recordings)
    assert "is larger than 200 MB" in recordings.find("a")
    assert "not an ordinary file" in recordings.find("b")
    assert recordings.find("c") == (
        "the recording c.wav is lost: there is no such file; put it back, or record the line again"
    )
    assert isinstance(recordings.find("d"), str)
    with pytest.raises(VoiceError, match="larger than 200 MB"):
        clip_from_file(folder / "a.wav", "a", "plan", store=ClipStore(tmp_path / "clips"))


ODD_TOML = {
    "a dotted key": "a" + ".a" * 20_000 + " = 1\n",
    "a dotted header": "[a" + ".a" * 20_000 + "]\n",
    "quoted dots": 'x = 1\n"a"' + ' . "a"' * 9_000 + " = 1\n",
    "brackets": "a = " + "[" * 50_000,
    "tables": "a = " + "{a=" * 20_000,
    "dots behind a string of quotes": 'x = ["""a"""", {a' + ".a" * 20_000 + " = 1}]\n",
    "dots behind an apostrophe": "x = ['''a'''', {a" + ".a" * 20_000 + " = 1}]\n",
    "unfinished strings": '"""' + '\\"""' * 20_000,
    "long number": "a = " + "9" * 50_000,
    "no date": "a = 2025-99-99\n",
    "a NUL": "a\0b = 1\n",
    "Latin-1": b'title = "\xe9"\n',
    "too large": "#" * 100_001,
    "many keys": "".join(f"k{n} = 1\n" for n in range(9_000)),
    "NUL in a name": 'engine = "system"\nlexicon = "a\\u0000b"\n',
    "NUL in a model": 'engine = "natural"\n[model]\nfile = "a\\u0000b"\n',
    "an engine that is a table": "[engine]\na = 1\n",
    "infinite pace": 'engine = "system"\npace = inf\n',
    "pace that is no number": 'engine = "system"\npace = nan\n',
    "time without end": 'engine = "system"\ntimeout_s = inf\n',
    "rate beyond all": 'engine = "system"\nrate_wpm = 0x' + "f" * 9_000 + "\n",
    "escape in a voice": 'engine = "system"\nvoice_ids = {linux = "\\u001b[2J"}\n',
}


@pytest.mark.parametrize("content", ODD_TOML.values(), ids=ODD_TOML.keys())
def test_odd_definitions_are_told(tmp_path, content):
    """A place and a reason, in time and memory that do not grow beyond the file."""
    put(tmp_path, "x.toml", content)
    with pytest.raises(PlanError, match=r"x\.toml:\d"):
        find_voice("x", tmp_path)


@pytest.mark.parametrize(
    "text",
    [
        'a.b = 1\n"x.y.z.1.2.3.4.5.6.7.8.9" = "[[[[[[[[[[[[[[["\n',
        "# [[[[[[[[[[[[[[[[[ a.a.a.a.a.a.a.a.a.a.a\nx = '''[[[[[[[[[[\n...........'''\n",
        'x = """a\\"""b.......[[[[[[[[[["""\ny = [1.5, 2.5, 3.5, 4.5, 5.5, 6.5, 7.5, 8.5, 9.5, 0.5]\n',
        "x = [[[1], [2]], [[3]]]\n[a.b.c]\nd = {e = {f = [1]}}\ndate = 2025-01-01T00:00:00.5\n",
    ],
)
def test_what_lies_in_strings_and_comments_does_not_count(tmp_path, text):
    """Only real nesting is counted, against the parser of the standard library."""
    import tomllib

    path = tmp_path / "x.toml"
    path.write_text(text)
    assert bounded_toml.read_toml(path, 10_000, "it") == tomllib.loads(text)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("a\\u0000b.wav", "no control characters"),
        ("n" * 300 + ".wav", "cannot be"),
        ("../../../x.wav", "lies outside"),
        ("a/../../../../x.wav", "lies outside"),
        ("C:\\\\x.wav", "lies outside" if sys.platform == "win32" else "is lost"),
    ],
)
def test_odd_names_in_an_index_are_told(tmp_path, name, expected):
    """A NUL, a name too long for the disk, and ways out: each with its own reason."""
    put(tmp_path / "plan", "a/index.toml", f'clips = [{{text = "Rest.", file = "{name}"}}]\n')
    try:
        recordings = load_voice(find_voice("a", tmp_path / "plan"))
        assert isinstance(recordings, Recordings)
        said = str(recordings.find("Rest."))
    except PlanError as error:
        said = str(error)
    assert expected in said


@pytest.mark.parametrize(
    "content",
    [
        '<?xml version="1.0" encoding="klingon"?><lexicon/>',
        '<?xml version="1.0" encoding="utf-7"?><lexicon/>',
        '<?xml version="1.0" encoding="shift_jis"?><lexicon/>',
        '<?xml version="1.0" encoding="base64"?><lexicon/>',
        '<?xml version="1.0" encoding="idna"?><lexicon/>',
        "<example>" * 100_000,
        "\0",
        "",
    ],
)
def test_odd_lexicons_are_told(tmp_path, content):
    """An encoding that is none, or of several bytes, is named with its line."""
    put(tmp_path, "x.toml", 'engine = "system"\nlexicon = "l.pls"\n')
    put(tmp_path, "l.pls", content)
    with pytest.raises(PlanError, match=r"l\.pls:\d"):
        spoken_words("Rest.", find_voice("x", tmp_path))


def test_a_large_lexicon_is_applied_in_time_and_as_a_small_one(tmp_path):
    """12,000 words cost no more than the words that occur; long ones are refused."""
    head = '<lexicon version="1.0" xmlns="http://www.w3.org/2005/01/pronunciation-lexicon" xml:lang="en">'
    one = "<lexeme><grapheme>{}</grapheme><alias>{}</alias></lexeme>"
    words = [("Rest", "Pause"), ("knees", "Knie"), *((f"w{n}", "x") for n in range(12_000))]
    put(tmp_path, "x.toml", 'engine = "system"\nlexicon = "l.pls"\n')
    put(tmp_path, "l.pls", head + "".join(one.format(*pair) for pair in words) + "</lexicon>")
    assert spoken_words("Rest your Knees, w7 now.", find_voice("x", tmp_path)) == "Pause your Knie, x now."
    assert spoken_words("rest.", find_voice("x", tmp_path)) == "rest."
    put(tmp_path, "l.pls", head + one.format("Rest", "x " * 200) + "</lexicon>")
    with pytest.raises(PlanError, match="200 characters at most"):
        spoken_words("Rest.", find_voice("x", tmp_path))


def graph(nodes, extra=()):
    """Return an ONNX model with a Piper model's inputs, as bytes."""
    onnx = pytest.importorskip("onnx")
    from onnx import TensorProto, helper

    inputs = [
        helper.make_tensor_value_info("input", TensorProto.INT64, [1, "n"]),
        helper.make_tensor_value_info("input_lengths", TensorProto.INT64, [1]),
        helper.make_tensor_value_info("scales", TensorProto.FLOAT, [3]),
    ]
    out = helper.make_tensor_value_info("output", TensorProto.FLOAT, None)
    model = helper.make_model(
        helper.make_graph(nodes, "g", inputs, [out], initializer=list(extra)),
        opset_imports=[helper.make_opsetid("", 17)],
        ir_version=8,
    )
    return model, onnx


def filled(n_frames, name="output"):
    """Return nodes that give `n_frames` samples, computed from an input so that nothing is folded away."""
    onnx = pytest.importorskip("onnx")
    from onnx import TensorProto, helper

    size = helper.make_tensor("size", TensorProto.INT64, [1], [n_frames])
    half = helper.make_tensor("half", TensorProto.FLOAT, [1], [0.5])
    zero = helper.make_tensor("zero", TensorProto.INT64, [1], [0])
    nodes = [
        helper.make_node("Mul", ["input_lengths", "zero"], ["none"]),
        helper.make_node("Add", ["none", "size"], ["shape"]),
        helper.make_node("ConstantOfShape", ["shape"], [name], value=onnx.numpy_helper.from_array(
            np.array([0.5], dtype=np.float32))),
    ]  # fmt: skip
    return nodes, [size, half, zero]


def test_a_strangers_model_speaks_as_our_own(tmp_path):
    """The same model beside a plan gives the same samples, from a process of its own."""
    own = find_voice("natural").settings
    definition = (
        f'engine = "natural"\nsentence_pause_ms = {own.sentence_pause_ms}\n[model]\nfile = "m.onnx"\n'
    )
    put(tmp_path, "x.toml", f"{definition}length_scale = {own.model.length_scale}\n")
    put(tmp_path, "m.onnx", OWN_MODEL.read_bytes())
    put(tmp_path, "m.onnx.json", json.dumps(OWN_CONFIG))
    theirs, ours = NaturalVoice(find_voice("x", tmp_path)), NaturalVoice(find_voice("natural"))
    for line, pace in (("Rest now.", 1.0), ("Knees out. Go.", 1.1)):
        left, right = theirs.speak(line, pace), ours.speak(line, pace)
        assert left[1] == right[1]
        assert np.array_equal(left[0], right[0])
    assert isinstance(theirs._loaded(), model_process.ModelProcesses)
    with pytest.raises(VoiceError, match="does not know"):
        theirs.speak("[[a¤]].", 1.0)
    assert len(theirs.speak("Rest.", 1.0)[0]) > 0


@pytest.mark.parametrize(
    ("n_frames", "words"), [(10**10, "memory"), (4 * 10**8, "memory|sound"), (10**7, "sound")]
)
def test_a_model_that_takes_too_much_is_stopped(tmp_path, n_frames, words):
    """40 GB, 1.6 GB and seven minutes of sound for one word: a message, and this process stays small."""
    nodes, extra = filled(n_frames)
    with_model(tmp_path, model=graph(nodes, extra)[0].SerializeToString())
    with pytest.raises(VoiceError, match=words):
        speak_all(["Rest."], find_voice("x", tmp_path), store=ClipStore(tmp_path / "clips"))


def test_a_model_without_end_is_stopped(tmp_path, monkeypatch):
    """A loop of 2⁶² turns ends with the time that a line may take."""
    onnx = pytest.importorskip("onnx")
    from onnx import TensorProto, helper

    monkeypatch.setattr(model_process, "MAX_LINE_TAKES_S", 1.0)
    scalar = [helper.make_tensor_value_info(name, kind, []) for name, kind in
              (("i", TensorProto.INT64), ("c", TensorProto.BOOL), ("x", TensorProto.FLOAT))]  # fmt: skip
    ends = [helper.make_tensor_value_info(name, kind, []) for name, kind in
            (("c2", TensorProto.BOOL), ("x2", TensorProto.FLOAT))]  # fmt: skip
    body = helper.make_graph(
        [helper.make_node("Identity", ["c"], ["c2"]), helper.make_node("Sin", ["x"], ["x2"])],
        "b",
        scalar,
        ends,
    )
    turns = onnx.numpy_helper.from_array(np.array(2**62), "turns")
    yes = onnx.numpy_helper.from_array(np.array(True), "yes")
    start = onnx.numpy_helper.from_array(np.array(0.5, dtype=np.float32), "start")
    axis = onnx.numpy_helper.from_array(np.array(0), "axis")
    nodes = [
        helper.make_node("Gather", ["scales", "axis"], ["first"]),
        helper.make_node("Add", ["first", "start"], ["begin"]),
        helper.make_node("Loop", ["turns", "yes", "begin"], ["output"], body=body),
    ]
    with_model(tmp_path, model=graph(nodes, [turns, yes, start, axis])[0].SerializeToString())
    with pytest.raises(VoiceError, match="longer than 1 s"):
        NaturalVoice(find_voice("x", tmp_path)).speak("Rest.", 1.0)


def test_a_model_that_links_to_other_files_is_refused(tmp_path):
    """ONNX can keep its numbers in another file, by any path; a voice's may not."""
    onnx = pytest.importorskip("onnx")
    from onnx import TensorProto, helper

    nodes, extra = filled(1_000)
    model, _ = graph(nodes, extra)
    tensor = TensorProto(name="w", data_type=TensorProto.FLOAT, dims=[4], data_location=TensorProto.EXTERNAL)
    for key, value in (("location", "../../secret"), ("offset", "0")):
        tensor.external_data.add(key=key, value=value)
    model.graph.initializer.append(tensor)
    model.graph.node.append(helper.make_node("Identity", ["w"], ["unused"]))
    with_model(tmp_path, model=model.SerializeToString())
    assert onnx is not None
    with pytest.raises(VoiceError, match="in other files"):
        NaturalVoice(find_voice("x", tmp_path)).speak("Rest.", 1.0)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_sound_that_is_no_sound_is_told(tmp_path, value):
    """A model that gives no numbers, or silence, has not spoken."""
    onnx = pytest.importorskip("onnx")
    nodes, extra = filled(20_000)
    nodes[-1].attribute[0].t.CopyFrom(onnx.numpy_helper.from_array(np.array([value], dtype=np.float32)))
    with_model(tmp_path, model=graph(nodes, extra)[0].SerializeToString())
    with pytest.raises(VoiceError):
        speak_all(["Rest."], find_voice("x", tmp_path), store=ClipStore(tmp_path / "clips"))


def test_any_engine_is_held_to_the_length_of_its_words(tmp_path, monkeypatch):
    """What comes back from any engine is bounded by the text, and by two minutes."""
    assert longest_s("Rest.") == 10
    assert longest_s("x" * 600) == 120
    voice = find_voice("natural")
    for rate, n_frames, words in ((48_000, 48_000 * 11, "11 s of sound"), (1, 5, "at 1 Hz")):
        monkeypatch.setattr(
            NaturalVoice, "speak", lambda *_, n=n_frames, r=rate: (np.full(n, 0.5, np.float32), r, ())
        )
        with pytest.raises(VoiceError, match=words):
            speak_all(["Rest."], voice, store=ClipStore(tmp_path))


def test_every_engine_is_registered_once():
    """Its name is what definitions say; it has settings, words for a person, and a voice of a known kind."""
    assert set(ENGINES) == {"natural", "styled", "system", "recorded"}
    for name, engine in ENGINES.items():
        assert isinstance(engine, Engine)
        assert name in str(engine.settings.model_fields["engine"].annotation)
        assert engine.about
        # The styled model is an extra.
        assert engine.missing() in ("", 'pip install ".[voices]"' if name == "styled" else "")
    for voice in readable_voices()[0]:
        assert isinstance(load_voice(voice), Voice)
        assert engine_of(voice).synthetic


def test_a_new_engine_is_a_module_and_a_line(tmp_path, monkeypatch):
    """An engine that is only registered is found, estimated, listed and spoken."""
    from typing import Literal

    from cuelane.speech.definition import EngineSettings

    class HumSettings(EngineSettings):
        engine: Literal["hum"]

    class HumVoice:
        takes_ipa, workers = False, 1

        def __init__(self, voice):
            self.voice = voice

        def recipe(self, pace):
            return {"engine": "hum", "pace": pace}

        def speak(self, prepared, pace):
            t = np.arange(16_000) / 16_000
            return (0.3 * np.sin(2 * np.pi * 220 * t)).astype(np.float32), 16_000, ()

    monkeypatch.setitem(
        ENGINES, "hum", Engine("hum", "a hum", HumSettings, HumVoice, lambda: "pip install hum")
    )
    put(tmp_path, "h.toml", 'engine = "hum"\n')
    voice = find_voice("h", tmp_path)
    clip = speak_all(["Rest."], voice, store=ClipStore(tmp_path / "clips")).clips["Rest."]

    assert clip.n_frames == pytest.approx(48_000, abs=1_000)
    assert estimate_seconds("Rest.", voice) > 0
    assert engine_of(voice).missing() == "pip install hum"


def test_the_list_says_what_is_not_installed(monkeypatch, capsys):
    """A voice whose engine is missing is listed, with the command that installs it."""
    import dataclasses

    from cuelane.cli.voices import voices

    monkeypatch.setitem(
        ENGINES, "natural", dataclasses.replace(natural.ENGINE, missing=lambda: "pip install piper-tts")
    )
    voices(None, as_json=False, folder=OWN_MODEL.parent)
    assert "not installed; install it with: pip install piper-tts" in capsys.readouterr().out


def test_no_near_name_reads_as_two_sentences():
    """Where no name is near, the list of voices follows a full stop."""
    with pytest.raises(UsageError, match=r"no voice called 'qqqq'\. Voices here:"):
        find_voice("qqqq")


def test_a_recording_at_an_odd_rate_is_told(tmp_path):
    """A file that says 1 Hz would be years long once resampled."""
    put(tmp_path, "a/index.toml", 'clips = [{text = "Rest.", file = "r.wav"}]\n')
    soundfile.write(tmp_path / "voices" / "a" / "r.wav", np.full(50_000, 0.1), 1)
    with pytest.raises(VoiceError):
        clip_from_file(tmp_path / "voices" / "a" / "r.wav", "x", "v", store=ClipStore(tmp_path / "clips"))
