"""Lines that were spoken before are found by their records alone, as they would be spoken again."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from cuelane.audio.store import ClipNote, ClipStore, recipe_key
from cuelane.desk.lines import Speaking, SpokenLines
from cuelane.desk.planning import PlanView
from cuelane.desk.sound import HEADER_BYTES, Range, sound_of, total_bytes
from cuelane.desk.workspace import Workspace, Workspaces
from cuelane.session.arrange import Arranged
from cuelane.session.candidates import Candidate
from cuelane.speech.sound_doubts import length_doubt
from cuelane.speech.speak import Spoken, clip_from_file, speak_all
from cuelane.speech.spoken_before import FoundLine, SpokenBefore
from cuelane.speech.voices import find_voice

LINES = ["Sit tall.", "Breathe out as you fold, and wait there.", "Switch. Left side."]
NEVER = "This was never said."
PLAN = """\
title: Sit
voice: system
cautions: none
session:
  - say: [Sit tall., Stand up again.]
  - rest: 30s
"""

LEXICON = """\
<lexicon version="1.0" xmlns="http://www.w3.org/2005/01/pronunciation-lexicon" alphabet="ipa" xml:lang="en">
<lexeme><grapheme>{}</grapheme><alias>{}</alias></lexeme>
</lexicon>
"""


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ClipStore]:
    """A store in which the lines were spoken."""
    with ClipStore(tmp_path_factory.mktemp("clips")) as made:
        yield made


@pytest.mark.parametrize("pace", [1.0, 0.9])
def test_what_is_found_is_what_was_spoken(store: ClipStore, pace: float) -> None:
    """Length, clip, voice, words and doubts, in a store that another object reads."""
    voice = find_voice("system")
    spoken = speak_all(LINES, voice, store=store, pace=pace)
    before = SpokenBefore(voice, ClipStore(store.folder))
    for text, clip in spoken.clips.items():
        found = before.find(text, pace)
        assert found is not None
        note = found.note
        assert (note.n_frames, note.sha256, note.words) == (clip.n_frames, clip.sha256, clip.words)
        assert (found.voice, found.doubt) == (clip.voice, spoken.doubts.get(text, ""))
        assert not found.fell_back
    assert before.find(NEVER, pace) is None
    assert before.find(LINES[0], 1.1) is None
    assert before.find("", pace) is None


def test_a_doubted_length_is_told_with_what_is_found(store: ClipStore, tmp_path: Path) -> None:
    """By the figures of its own definition, as when it is spoken."""
    (tmp_path / "voices").mkdir()
    slow = "engine = 'system'\n[estimate]\nletter_s = 2.0\nvowel_s = 0.1\ncomma_s = 0.1\nsentence_s = 0.1\n"
    (tmp_path / "voices/slow.toml").write_text(slow, encoding="utf-8")
    voice = find_voice("slow", tmp_path)
    spoken = speak_all(LINES, voice, store=store)
    assert set(spoken.doubts) == set(LINES)
    before = SpokenBefore(voice, store)
    found = {text: before.find(text, 1.0) for text in LINES}
    assert {text: line.doubt for text, line in found.items() if line is not None} == spoken.doubts


def test_a_length_is_doubted_on_both_sides() -> None:
    """Under 0.45 of what was expected, and over 2.2 of it and 0.3 s; never where nobody knows."""
    assert length_doubt(0.44, 1.0)
    assert not length_doubt(0.46, 1.0)
    assert not length_doubt(2.49, 1.0)
    assert length_doubt(2.51, 1.0)
    assert not length_doubt(100.0, None)


def test_recordings_and_their_fallback_are_found(store: ClipStore, tmp_path: Path) -> None:
    """A recording by its bytes; a line without one by the voice that speaks instead."""
    folder = tmp_path / "voices/anna"
    folder.mkdir(parents=True)
    noise = np.random.default_rng(3).uniform(-0.2, 0.2, 48_000)
    soundfile.write(folder / "a.wav", noise, 48_000)
    (folder / "index.toml").write_text(f'clips = [{{text = "{LINES[0]}", file = "a.wav"}}]\n', "utf-8")
    (folder / "voice.toml").write_text('engine = "recorded"\nfallback = "system"\n', "utf-8")
    voice = find_voice("anna", tmp_path)
    before = SpokenBefore(voice, store)
    assert before.find(LINES[0], 1.0) is None
    spoken = speak_all(LINES, voice, store=store)
    for text in LINES:
        found = before.find(text, 1.0)
        assert found is not None
        assert (found.note.sha256, found.voice) == (spoken.clips[text].sha256, spoken.clips[text].voice)
        assert found.fell_back == (text in spoken.fallbacks)
    clip = clip_from_file(folder / "a.wav", LINES[0], "recording", store=store)
    alone = before.find_file(folder / "a.wav", "recording")
    assert alone is not None
    assert (alone.note.sha256, alone.voice) == (clip.sha256, "recording")
    soundfile.write(folder / "a.wav", noise / 2, 48_000)
    assert before.find(LINES[0], 1.0) is None, "another recording now"


def test_voices_that_fall_back_on_each_other_find_nothing(store: ClipStore, tmp_path: Path) -> None:
    """That they go in a circle is told when a line is to be spoken."""
    for name, other in (("anna", "bert"), ("bert", "anna")):
        folder = tmp_path / "voices" / name
        folder.mkdir(parents=True)
        (folder / "voice.toml").write_text(f'engine = "recorded"\nfallback = "{other}"\n', "utf-8")
        (folder / "index.toml").write_text("clips = []\n", "utf-8")
    assert SpokenBefore(find_voice("anna", tmp_path), store).find(LINES[0], 1.0) is None


def test_a_note_counts_only_with_its_sound(tmp_path: Path) -> None:
    """Its record whole, its file there and as long as it says."""
    store = ClipStore(tmp_path / "clips")
    clip = speak_all(LINES[:1], find_voice("system"), store=store).clips[LINES[0]]
    key = recipe_key({"a": 1})
    store.put(key, clip)
    note = store.note(key)
    assert note is not None
    assert (note.sha256, note.n_frames, note.text) == (clip.sha256, clip.n_frames, LINES[0])
    assert store.note(recipe_key({"a": 2})) is None
    assert store.note("../../odd") is None
    (record,) = (tmp_path / "clips").glob(f"recipes/??/{key}.json")
    (audio,) = (tmp_path / "clips").glob("audio/??/*.wav")
    kept = record.read_bytes()
    record.write_bytes(kept.replace(str(clip.n_frames).encode(), str(clip.n_frames + 1).encode()))
    assert store.note(key) is None, "its seal is broken"
    record.write_bytes(kept)
    assert store.note(key) == note
    audio.write_bytes(audio.read_bytes()[:-400])
    assert store.note(key) is None, "cut off"
    audio.unlink()
    assert store.note(key) is None
    audio.mkdir()
    assert store.note(key) is None


class Speech:
    """How a desk speaks, with the lines that it was asked to speak."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def speak(self, texts: list[str], *others: Any, **more: Any) -> Spoken:
        """Speak them, and keep what was asked for."""
        self.asked += texts
        return speak_all(texts, *others, **more)

    def opened(self, folder: Path, store: Path) -> Workspace:
        """Return the plan of a folder, open at a desk that was just started."""
        workspaces = Workspaces(folder, ClipStore(store))
        workspaces.speech.set_result(Speaking(self.speak, clip_from_file, SpokenBefore))
        return workspaces.open("p.yaml")


def test_a_desk_finds_what_was_spoken_and_speaks_again_what_is_gone(tmp_path: Path) -> None:
    """The first view has every line's own length; a clip that was taken from the store is made anew."""
    (tmp_path / "p.yaml").write_text(PLAN, encoding="utf-8")
    first = Speech()
    spoken = first.opened(tmp_path, tmp_path / "clips").spoken()
    assert {"Sit tall.", "Stand up again."} <= set(first.asked)
    again = Speech()
    workspace = again.opened(tmp_path, tmp_path / "clips")
    _, preview = workspace.now()
    assert (preview.n_unspoken, preview.schedule) == (0, spoken.schedule)
    assert preview.schedule is not None
    total = total_bytes(preview.schedule.n_frames)
    wanted = Range(HEADER_BYTES, min(total, 2 * 48_000 * 10), total)
    heard = sound_of(workspace, wanted)
    assert again.asked == []
    assert any(heard)
    robbed = Speech()
    workspace = robbed.opened(tmp_path, tmp_path / "clips")
    workspace.now()
    cue = next(cue for cue in preview.schedule.cues if cue.text == "Sit tall.")
    (audio,) = (tmp_path / "clips").glob(f"audio/??/{(cue.clip or '').removeprefix('sha256:')}.wav")
    content = bytearray(audio.read_bytes())
    content[-30] ^= 1
    audio.write_bytes(content)
    mended = sound_of(workspace, wanted)
    assert np.array_equal(np.frombuffer(mended, np.uint8), np.frombuffer(heard, np.uint8))
    assert robbed.asked == ["Sit tall."]


def test_all_the_clips_that_are_gone_are_spoken_again(tmp_path: Path) -> None:
    """The store may be emptied while the desk is open: not only the first of them is missed."""
    (tmp_path / "p.yaml").write_text(PLAN, encoding="utf-8")
    Speech().opened(tmp_path, tmp_path / "clips").spoken()
    robbed = Speech()
    workspace = robbed.opened(tmp_path, tmp_path / "clips")
    _, preview = workspace.now()
    assert preview.n_unspoken == 0
    assert preview.schedule is not None
    total = total_bytes(preview.schedule.n_frames)
    for audio in (tmp_path / "clips").glob("audio/??/*.wav"):
        audio.unlink()
    heard = sound_of(workspace, Range(HEADER_BYTES, min(total, 2 * 48_000 * 10), total))
    assert any(heard)
    assert len({cue.clip for cue in preview.schedule.cues if cue.text in robbed.asked}) > 1


@pytest.mark.parametrize("while_it", ["is opened", "is searched"])
def test_nothing_read_before_a_recording_came_is_kept(tmp_path: Path, while_it: str) -> None:
    """A recording may come in one thread while another looks up the lines: then they are looked up again."""
    opened: list[str] = []

    def note(name: str) -> FoundLine:
        return FoundLine(ClipNote("Sit tall.", "anna", 48_000, 48_000, name), "anna")

    class Before:
        """What is known of the lines; the first one stands for the time before the recording came."""

        def __init__(self, *_: Any) -> None:
            self.clip = "new" if opened else "old"
            opened.append(self.clip)
            self._meanwhile("is opened")

        def find(self, *_: Any) -> FoundLine:
            self._meanwhile("is searched")
            return note(self.clip)

        def _meanwhile(self, when: str) -> None:
            if self.clip == "old" and when == while_it:
                recorder = threading.Thread(target=lines.forget)
                recorder.start()
                recorder.join()

    speech: Future[Speaking] = Future()
    speech.set_result(Speaking(speak_all, clip_from_file, Before))
    with ClipStore(tmp_path / "clips") as store:
        lines = SpokenLines(find_voice("system"), tmp_path, store, speech)
        candidate = Candidate("say", "Sit tall.", 1, "")
        assert lines.sounding_of(candidate).clip == "new"
        assert lines.sounding_of(candidate).clip == "new"
    assert opened == ["old", "new"]


def recorded_voice(folder: Path) -> Path:
    """Write a voice of recordings with none yet, and a plan that it speaks; return the voice's folder."""
    made = folder / "voices/anna"
    made.mkdir(parents=True)
    (made / "voice.toml").write_text('engine = "recorded"\nfallback = "system"\n', "utf-8")
    (made / "index.toml").write_text("clips = []\n", "utf-8")
    (folder / "p.yaml").write_text(PLAN.replace("system", "anna"), encoding="utf-8")
    return made


def clip_of(workspace: Workspace, text: str) -> str | None:
    """Return the clip of a line, all of the plan spoken."""
    schedule = workspace.spoken().schedule
    assert schedule is not None
    return next(cue.clip for cue in schedule.cues if cue.text == text)


def test_a_recording_that_was_made_elsewhere_is_heard_at_an_open_desk(tmp_path: Path) -> None:
    """The voice's index is another one then; so is the plan's preview, though its text is the same."""
    folder = recorded_voice(tmp_path)
    workspace = Speech().opened(tmp_path, tmp_path / "clips")
    before = clip_of(workspace, "Sit tall.")
    noise = np.random.default_rng(3).uniform(-0.2, 0.2, 48_000)
    soundfile.write(folder / "a.wav", noise, 48_000)
    (folder / "index.toml").write_text('clips = [{text = "Sit tall.", file = "a.wav"}]\n', "utf-8")
    recorded = clip_from_file(folder / "a.wav", "Sit tall.", "recording", store=ClipStore(tmp_path / "clips"))
    assert clip_of(workspace, "Sit tall.") == recorded.sha256 != before


def test_a_lexicon_that_was_written_elsewhere_is_heard_at_an_open_desk(tmp_path: Path) -> None:
    """That of the voice itself, here one that stands in for recordings."""
    recorded_voice(tmp_path)
    (tmp_path / "voices/anna/voice.toml").write_text('engine = "recorded"\nfallback = "bert"\n', "utf-8")
    (tmp_path / "voices/bert.toml").write_text('engine = "system"\nlexicon = "words.pls"\n', "utf-8")
    lexicon = tmp_path / "voices/words.pls"
    lexicon.write_text(LEXICON.format("tall", "long"), encoding="utf-8")
    workspace = Speech().opened(tmp_path, tmp_path / "clips")
    before = clip_of(workspace, "Sit tall."), clip_of(workspace, "Stand up again.")
    lexicon.write_text(LEXICON.format("tall", "straight"), encoding="utf-8")
    assert clip_of(workspace, "Sit tall.") != before[0]
    assert clip_of(workspace, "Stand up again.") == before[1]


def test_a_voice_that_was_broken_and_mended_elsewhere_is_planned_with_again(tmp_path: Path) -> None:
    """The error goes once the file is right, without a letter typed."""
    index = recorded_voice(tmp_path) / "index.toml"
    workspace = Speech().opened(tmp_path, tmp_path / "clips")
    assert workspace.now()[1].schedule is not None
    index.write_text("clips = [{text = 3}]\n", "utf-8")
    broken = workspace.now()[1]
    assert broken.schedule is None
    assert any(one.level == "error" for one in broken.findings)
    index.write_text("clips = []\n\n", "utf-8")
    assert workspace.now()[1].schedule is not None


def test_lengths_that_became_known_while_others_were_worked_out_are_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A line is spoken in one thread while another arranges the session without it: that is not kept."""
    (tmp_path / "p.yaml").write_text(PLAN, encoding="utf-8")
    workspace = Speech().opened(tmp_path, tmp_path / "clips")
    _, preview = workspace.now()
    assert preview.arranged is not None
    first, *others = preview.arranged.offered
    assert workspace._speak(preview, [first])
    arranged_again = workspace.previewer.arranged_again

    def meanwhile(before: PlanView) -> Arranged | None:
        made = arranged_again(before)
        monkeypatch.setattr(workspace.previewer, "arranged_again", arranged_again)
        speaker = threading.Thread(target=workspace._speak, args=(before, others))
        speaker.start()
        speaker.join()
        return made

    monkeypatch.setattr(workspace.previewer, "arranged_again", meanwhile)
    cues = workspace.schedule().cues
    assert {cue.text for cue in cues if cue.clip} == {first.text} != {cue.text for cue in cues}
    assert all(cue.clip for cue in workspace.schedule().cues)
