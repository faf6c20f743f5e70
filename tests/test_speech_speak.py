"""Texts become clips: once each, the same every time, and what falls back is told."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from cuelane.audio.clip import audible_span
from cuelane.audio.store import ClipStore
from cuelane.base.errors import PlanError, UsageError, VoiceError
from cuelane.meter import clip_loudness_lufs, true_peak_dbtp
from cuelane.speech import natural, speak
from cuelane.speech.estimate import estimate_seconds
from cuelane.speech.natural import NaturalVoice, model_path
from cuelane.speech.speak import clip_from_file, speak_all
from cuelane.speech.system import SystemVoice
from cuelane.speech.voices import find_voice
from speech_lines import HELD_OUT

LINES = [*HELD_OUT[:16], "Switch. Left side.", "40s work.", "forty seconds work.", "Pilates."]


def n_frames(spoken):
    return sum(clip.n_frames for clip in spoken.clips.values())


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    return ClipStore(tmp_path_factory.mktemp("clips"))


@pytest.fixture(scope="module")
def spoken(store):
    return speak_all([*LINES, *LINES], find_voice("natural"), store=store)


def test_distinct_texts_are_spoken_once(spoken):
    """Repeats and two spellings of the same words cost nothing."""
    assert list(spoken.clips) == LINES
    assert spoken.n_synthesised == len(LINES) - 1
    assert spoken.clips["40s work."].sha256 == spoken.clips["forty seconds work."].sha256
    assert spoken.clips["40s work."].text == "40s work."
    assert spoken.fallbacks == {}


def test_every_clip_meets_its_contract(spoken):
    """Onset within 2 ms of sample 0, end within 8 ms, -20 LUFS, at most -7 dBTP."""
    assert list(spoken.clips) == LINES
    for clip in spoken.clips.values():
        onset, end = audible_span(clip.samples, clip.sample_rate)
        assert onset <= 96, clip.text
        assert clip.n_frames - end <= 384, clip.text
        assert clip_loudness_lufs(clip.samples, 48_000) == pytest.approx(-20.0, abs=0.1), clip.text
        assert true_peak_dbtp(clip.samples[:, np.newaxis]) <= -7.0, clip.text
        assert (clip.sample_rate, clip.voice) == (48_000, "natural")


def test_peaks_are_held_down_gently(spoken):
    """Half the lines lose 3 dB at most from their highest peak, none more than 7."""
    cuts = sorted(spoken.reductions_db.values())

    assert cuts[len(cuts) // 2] <= 3.0
    assert cuts[-1] <= 7.0


def test_the_store_gives_the_same_clips(spoken, store):
    """A second run speaks nothing."""
    seen: list[tuple[int, int]] = []
    again = speak_all(
        LINES, find_voice("natural"), store=store, progress=lambda done, total: seen.append((done, total))
    )

    assert again.n_synthesised == 0
    for text in LINES:
        assert np.array_equal(again.clips[text].samples, spoken.clips[text].samples)
    assert seen[-1] == (len(LINES), len(LINES))
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)


def test_another_process_speaks_the_same(spoken, tmp_path):
    """The same text in a fresh process, on one thread instead of many, has the same hash."""
    code = (
        "import sys, pathlib\n"
        "from cuelane.audio.store import ClipStore\n"
        "from cuelane.speech.natural import NaturalVoice\n"
        "from cuelane.speech.speak import speak_all\n"
        "from cuelane.speech.voices import find_voice\n"
        "NaturalVoice.workers = property(lambda self: 1)\n"
        "store = ClipStore(pathlib.Path(sys.argv[1]))\n"
        "spoken = speak_all(sys.argv[2:], find_voice('natural'), store=store)\n"
        "print(*[clip.sha256 for clip in spoken.clips.values()])\n"
    )
    texts = LINES[3:6]
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path), *texts],
        capture_output=True,
        text=True,
        timeout=300,
        check=True,
    )

    assert done.stdout.split() == [spoken.clips[text].sha256 for text in texts]


def test_a_damaged_clip_is_spoken_again(spoken, store):
    """Damage costs one line's synthesis and gives the same clip."""
    clip = spoken.clips[LINES[0]]
    (wav,) = store.folder.rglob(f"{clip.sha256.removeprefix('sha256:')}.wav")
    wav.write_bytes(wav.read_bytes()[:1000])
    again = speak_all(LINES, find_voice("natural"), store=store)

    assert again.n_synthesised == 1
    assert again.clips[LINES[0]].sha256 == clip.sha256


def test_a_faster_pace_is_faster(spoken, store):
    """At 1.15 four lines together take 1/1.15 of their time, within 3 %."""
    texts = LINES[4:8]
    fast = speak_all(texts, find_voice("natural"), store=store, pace=1.15)
    ratio = sum(spoken.clips[text].n_frames for text in texts) / n_frames(fast)

    assert ratio == pytest.approx(1.15, rel=0.03)


def test_sentences_are_a_breath_apart(spoken):
    """The silence between two sentences is the 350 ms of the definition, within 30."""
    clip = spoken.clips["Switch. Left side."]
    power = np.convolve(np.square(clip.samples.astype(np.float64)), np.ones(240), mode="same")
    loud = np.flatnonzero(power > power.max() * 10**-3.5)
    longest_ms = float(np.diff(loud).max()) / 48

    assert longest_ms == pytest.approx(350, abs=30)


def test_estimates_are_near_on_lines_they_were_not_fitted_to(spoken):
    """Within 10 % in total, 25 % for each line."""
    texts = HELD_OUT[:16]
    real = np.array([spoken.clips[text].n_frames / 48_000 for text in texts])
    guessed = np.array([estimate_seconds(text, find_voice("natural")) for text in texts])

    assert guessed.sum() == pytest.approx(real.sum(), rel=0.10)
    assert np.abs(guessed / real - 1).max() <= 0.25


def test_the_lexicons_phonemes_reach_the_model(spoken, tmp_path):
    """A word with IPA in the lexicon sounds otherwise than without it."""
    voice = find_voice("natural")
    engine = NaturalVoice(voice)
    raw, rate, _ = engine.speak("[[pᵻlˈɑːɾiːz]].", 1.0)
    plain, _, _ = engine.speak("Pilates.", 1.0)

    assert len(raw) != len(plain) or not np.array_equal(raw, plain)
    again = speak.finish(raw, rate, synthetic=True).samples
    assert np.array_equal(again, spoken.clips["Pilates."].samples)


def test_a_phoneme_the_model_does_not_know_is_told():
    """The engine would leave it out without a word."""
    with pytest.raises(VoiceError, match="does not know"):
        NaturalVoice(find_voice("natural")).speak("[[a¤]].", 1.0)


def test_a_wrong_model_is_refused(monkeypatch):
    """Another hash than the pinned one is an error that says what to do."""
    monkeypatch.setattr(natural, "_file_sha256", lambda path: "0" * 64)
    with pytest.raises(VoiceError, match="another SHA-256"):
        NaturalVoice(find_voice("natural")).speak("Rest.", 1.0)


def test_a_model_that_is_none_is_told(tmp_path):
    """Any other file is named, without a traceback."""
    folder = tmp_path / "voices"
    folder.mkdir()
    (folder / "bad.toml").write_text('engine = "natural"\n[model]\nfile = "bad.onnx"\n')
    (folder / "bad.onnx").write_bytes(b"nonsense")
    with pytest.raises(PlanError, match=r"its settings beside it: bad\.onnx\.json"):
        NaturalVoice(find_voice("bad", tmp_path))
    (folder / "bad.onnx.json").write_text("{}")
    with pytest.raises(PlanError, match=r"bad\.onnx\.json.*phoneme_id_map"):
        NaturalVoice(find_voice("bad", tmp_path))
    own = model_path(find_voice("natural"))
    (folder / "bad.onnx.json").write_bytes(own.with_name(f"{own.name}.json").read_bytes())
    with pytest.raises(VoiceError, match="no Piper model"):
        speak_all(["Rest."], find_voice("bad", tmp_path), store=ClipStore(tmp_path / "clips"))


def test_a_missing_engine_says_what_to_install(monkeypatch):
    """The message holds the command."""
    monkeypatch.setitem(sys.modules, "onnxruntime", None)
    with pytest.raises(VoiceError, match="pip install piper-tts"):
        NaturalVoice(find_voice("natural")).speak("Rest.", 1.0)


def test_nothing_to_say_is_an_error(store):
    """A text of signs alone is named."""
    with pytest.raises(VoiceError, match=r"nothing to say in '\.\.\.'"):
        speak_all(["Rest.", "..."], find_voice("natural"), store=store)


def test_an_impossible_pace_is_refused(store):
    """Beyond 1.15 words run together."""
    with pytest.raises(UsageError, match=r"0\.8 to 1\.15"):
        speak_all(["Rest."], find_voice("natural"), store=store, pace=1.3)


def test_the_system_voice_speaks_with_word_times(store):
    """Words, in order, with onsets that rise; the same bytes from two processes."""
    voice = find_voice("system")
    clip = speak_all(["Switch. Left side."], voice, store=store).clips["Switch. Left side."]
    first, _, _ = SystemVoice(voice).speak("Rest now.", 1.0)
    second, _, _ = SystemVoice(voice).speak("Rest now.", 1.0)

    assert np.array_equal(first, second)
    assert [onset for _, onset, _ in clip.words] == sorted(onset for _, onset, _ in clip.words)
    if sys.platform == "linux":
        assert [word for word, _, _ in clip.words] == ["Switch", "Left", "side"]


@pytest.mark.skipif(
    sys.platform != "linux",
    reason="macOS and Windows speak with engines of their own, not with espeak, which takes its settings in "
    "a thread of its own; and they have no /proc in which the threads of a process are counted",
)
def test_the_engine_speaks_in_the_thread_that_sets_its_rate(tmp_path):
    """In another one, the rate was lost in one line of 200: what it had just begun to take was cancelled."""
    child = (
        "import os, sys\n"
        "from cuelane.speech import _say\n"
        "_say._prepare_espeak()\n"
        "from pyttsx3.drivers import _espeak\n"
        "speak = _espeak.Synth\n"
        "def counting(*line, **more):\n"
        "    print(len(os.listdir('/proc/self/task')), file=sys.stderr)\n"
        "    return speak(*line, **more)\n"
        "_espeak.Synth = counting\n"
        "_say.main()\n"
    )
    out = tmp_path / "line.wav"
    order = json.dumps({"text": "Sit tall.", "rate_wpm": 120, "voice_id": "gmw/en-us", "out": str(out)})
    command = [sys.executable, "-c", child]
    done = subprocess.run(command, input=order.encode(), capture_output=True, timeout=60, check=True)

    assert int(done.stderr) == 1
    assert [word for word, _ in json.loads(done.stdout)["words"]] == ["Sit", "tall"]
    assert soundfile.info(out).duration > 1.2


def test_the_system_voices_pace_is_real(store):
    """At 1.15 the same words take 1/1.15 of the time, within 4 %."""
    voice, texts = find_voice("system"), LINES[4:10]
    plain = speak_all(texts, voice, store=store)
    fast = speak_all(texts, voice, store=store, pace=1.15)
    ratio = n_frames(plain) / n_frames(fast)

    assert ratio == pytest.approx(1.15, rel=0.04)


def test_an_unknown_system_voice_is_told(tmp_path):
    """The engine would speak with any other."""
    (tmp_path / "voices").mkdir()
    ids = json.dumps(dict.fromkeys(("linux", "darwin", "win32"), "no-such-voice"))
    (tmp_path / "voices" / "odd.toml").write_text(
        f'engine = "system"\nvoice_ids = {ids.replace(":", " =")}\n', encoding="utf-8"
    )
    with pytest.raises(VoiceError, match="no voice 'no-such-voice'"):
        speak_all(["Rest."], find_voice("odd", tmp_path), store=ClipStore(tmp_path / "clips"))


def test_a_hanging_engine_is_stopped(tmp_path):
    """A child that does not end is killed after the time allowed."""
    (tmp_path / "voices").mkdir()
    (tmp_path / "voices" / "slow.toml").write_text('engine = "system"\ntimeout_s = 0.001\n')
    with pytest.raises(VoiceError, match="was stopped"):
        speak_all(["Rest."], find_voice("slow", tmp_path), store=ClipStore(tmp_path / "clips"))


def recordings(tmp_path: Path, spoken) -> Path:
    folder = tmp_path / "voices" / "anna"
    folder.mkdir(parents=True)
    for name, text, suffix in (("a", LINES[0], "wav"), ("b", LINES[1], "flac")):
        padded = np.concatenate([np.zeros(9_000), 0.3 * spoken.clips[text].samples, np.zeros(4_000)])
        soundfile.write(folder / f"{name}.{suffix}", np.column_stack([padded, padded]), 48_000)
    (folder / "index.toml").write_text(
        "clips = [\n"
        f'{{text = "{LINES[0].lower()}", file = "a.wav"}},\n'
        f'{{text = "{LINES[1]}", file = "b.flac", gain_db = -1.5}},\n'
        f'{{text = "{LINES[2]}", file = "gone.wav"}},\n'
        f'{{text = "{LINES[3]}", file = "index.toml"}},\n]\n',
        encoding="utf-8",
    )
    return folder


def test_recordings_are_used_and_what_falls_back_is_told(tmp_path, spoken, store):
    """Recorded lines are the person's; missing, lost and broken ones are the fallback's, with the reason."""
    recordings(tmp_path, spoken)
    voice = find_voice("anna", tmp_path)
    result = speak_all(LINES[:6], voice, store=store)

    assert list(result.clips) == LINES[:6]
    assert [result.clips[text].voice for text in LINES[:6]] == ["anna"] * 2 + ["natural"] * 4
    assert sorted(result.fallbacks) == sorted(LINES[2:6])
    assert result.fallbacks[LINES[2]].startswith("natural: the recording gone.wav is lost")
    assert "cannot be used as a recording" in result.fallbacks[LINES[3]]
    assert result.fallbacks[LINES[4]] == "natural: no recording of this line"
    assert result.clips[LINES[4]].sha256 == spoken.clips[LINES[4]].sha256
    assert clip_loudness_lufs(result.clips[LINES[0]].samples, 48_000) == pytest.approx(-20.0, abs=0.1)
    assert clip_loudness_lufs(result.clips[LINES[1]].samples, 48_000) == pytest.approx(-21.5, abs=0.1)
    assert audible_span(result.clips[LINES[0]].samples, 48_000)[0] <= 96
    assert estimate_seconds(LINES[0], voice) == pytest.approx(
        result.clips[LINES[0]].n_frames / 48_000, abs=0.02
    )


def test_falling_back_in_a_circle_is_told(tmp_path, spoken, store):
    """Two recorded voices that name each other are refused when a line is in neither."""
    for name, other in (("anna", "bert"), ("bert", "anna")):
        folder = tmp_path / "voices" / name
        folder.mkdir(parents=True)
        (folder / "voice.toml").write_text(f'engine = "recorded"\nfallback = "{other}"\n')
        (folder / "index.toml").write_text("clips = []\n")
    with pytest.raises(PlanError, match="in a circle: anna → bert → anna"):
        speak_all(LINES[:1], find_voice("anna", tmp_path), store=store)


def test_a_single_file_becomes_a_clip(tmp_path, spoken, store):
    """A recording named by a plan is levelled and trimmed like any other; noise is not required."""
    folder = recordings(tmp_path, spoken)
    clip = clip_from_file(folder / "a.wav", "Feet flat.", "plan", store=store)

    assert (clip.text, clip.voice) == ("Feet flat.", "plan")
    assert audible_span(clip.samples, 48_000)[0] <= 96
    with pytest.raises(VoiceError, match=r"none\.wav is lost.*record the line again"):
        clip_from_file(folder / "none.wav", "x", "plan", store=store)
