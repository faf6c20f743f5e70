"""A reading of a script with retakes, coughs and lines left out, cut into a recorded voice."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

import classgen as gen
from classgen_speech import natural
from cuelane.audio.clip import audible_span
from cuelane.base.errors import UsageError
from cuelane.meter.gating import clip_loudness_lufs
from cuelane.recording.cutting import fade_ends
from cuelane.recording.decode import Recording
from cuelane.recording.recogniser import Aligner, HeardWord
from cuelane.recording.room_tone import room_tone, soften
from cuelane.speech.recorded import RecordedVoice
from cuelane.speech.voices import find_voice
from cuelane.takes import splitting
from cuelane.takes import voice_folder as voice_folder_module
from cuelane.takes.gaps import fill_gaps
from cuelane.takes.matching import SURE_TAKE, HeardPiece, match_takes
from cuelane.takes.rivals import lead, repeats_doubted, rivals
from cuelane.takes.run import LineResult, TakesResult, find_takes, leading_number
from cuelane.takes.splitting import SpokenPiece, frames_of, measure_levels, split_at_pauses
from cuelane.takes.voice_folder import (
    file_name,
    keep_clip,
    take_back,
    voice_delivery,
    voice_folder,
    write_voice,
)

LINES = [*gen.SETUPS.values(), *gen.FORM[:4], "Left leg forward this time.", "Right leg forward this time."]
LEFT_OUT, RETAKEN, COUGHS = {4}, {1, 8}, {2, 6}
RATE = 48_000


def read_aloud() -> tuple[gen.Array, dict[int, tuple[float, float]]]:
    """Return a reading of LINES, and where the last reading of each line is."""
    rng = np.random.default_rng(1)
    parts: list[gen.Array] = [np.zeros(RATE * 2, np.float32)]
    truth: dict[int, tuple[float, float]] = {}

    def put(wave: gen.Array, pause_s: float) -> tuple[float, float]:
        start = sum(map(len, parts)) / RATE
        parts.extend((wave, np.zeros(round(pause_s * RATE), np.float32)))
        return start, start + len(wave) / RATE

    for index, text in enumerate(LINES):
        if index in COUGHS:
            time = np.arange(round(0.35 * RATE)) / RATE
            put((rng.standard_normal(len(time)) * np.exp(-time * 12) * 0.2).astype(np.float32), 1.0)
        if index in LEFT_OUT:
            continue
        spoken = natural(text)
        if index in RETAKEN:
            put(spoken.samples[: spoken.words[len(spoken.words) // 2].end_sample], 1.2)
        truth[index] = put(spoken.samples, float(rng.uniform(1.0, 2.0)))
    sound = np.concatenate(parts)
    return sound + gen._pink(len(sound), rng) * np.float32(10 ** (-60 / 20)), truth


@pytest.fixture(scope="module")
def cut_reading(tmp_path_factory):
    path = tmp_path_factory.mktemp("reading") / "reading.wav"
    sound, truth = read_aloud()
    soundfile.write(path, sound, RATE)
    # The light recogniser, since every machine that tests has it.
    return find_takes([path], LINES, recogniser="light"), truth


def test_every_line_read_is_placed_or_reported_and_none_is_wrong(cut_reading):
    """Lines that were read are placed where they were read last; those that were not are missing."""
    result, truth = cut_reading
    by_index = {line.number - 1: line for line in result.lines}

    assert {k for k, line in by_index.items() if line.state == "missing"} == LEFT_OUT
    placed = {k for k, line in by_index.items() if line.state == "placed"}
    assert len(placed) >= len(truth) - 1
    for index in placed:
        assert by_index[index].start_s == pytest.approx(truth[index][0], abs=0.25)
        assert by_index[index].end_s == pytest.approx(truth[index][1], abs=0.35)


def test_clips_are_levelled_and_begin_with_a_little_air(cut_reading):
    """Every clip is at -23 LUFS or peaks at -1 dBFS, its sound begins within 100 ms, and none is cut off."""
    result, truth = cut_reading
    ceiling = 10 ** (-1 / 20)
    cut = [line for line in result.lines if line.clip is not None]
    assert len(cut) >= len(truth) - 1
    for line in cut:
        onset, end = audible_span(line.clip, RATE)
        loudness_lufs, peak = clip_loudness_lufs(line.clip, RATE), float(np.abs(line.clip).max())
        assert peak <= ceiling + 1e-6
        assert loudness_lufs <= -22.5
        # A clip with high peaks is left below the loudness rather than clipped.
        if peak <= 0.99 * ceiling:
            assert loudness_lufs == pytest.approx(-23.0, abs=0.5)
        assert 0.03 * RATE < onset < 0.1 * RATE
        assert end < len(line.clip)


def test_the_voice_holds_the_lines_that_were_placed(cut_reading, tmp_path):
    """The folder written is a recorded voice: it finds placed lines, and has no others."""
    result, _ = cut_reading
    folder = voice_folder(tmp_path, "own")

    with voice_delivery(folder, []) as staged:
        n_written = write_voice(staged, folder, result)

    voice = RecordedVoice(find_voice("own", tmp_path))
    placed = [line for line in result.lines if line.state == "placed"]
    assert n_written == len(placed)
    assert all(not isinstance(voice.find(line.text), str) for line in placed)
    assert voice.find(LINES[4]) == "no recording of this line"


def test_lines_recorded_before_stay(cut_reading, tmp_path):
    """A second reading adds to the voice; what it did not read is kept."""
    result, _ = cut_reading
    folder = voice_folder(tmp_path, "own")
    for lines in (result.lines[:2], result.lines[2:4]):
        with voice_delivery(folder, []) as staged:
            write_voice(staged, folder, TakesResult(lines, (), ()))

    index = json.loads((folder / "index.json").read_text(encoding="utf-8"))
    assert [clip["text"] for clip in index["clips"]] == LINES[:4]


def test_no_line_takes_the_recording_of_another(tmp_path):
    """After the plan was changed, another line may have the number and the first words of one read before.

    It was written over that one's file. And a line whose case or stops had changed was found in its old
    recording, not in the new one.
    """
    folder, long = voice_folder(tmp_path, "own"), "Keep the whole foot on the floor, and the"
    read = {
        f"{long} left knee out.": 20_000,
        f"{long} right knee out.": 30_000,
        f"{long} LEFT knee out!": 9_000,
    }
    for text, n_samples in read.items():
        tone = 0.1 * np.sin(np.arange(n_samples) * 0.05).astype(np.float32)
        with voice_delivery(folder, []) as staged:
            line = LineResult(7, text, "placed", clip=tone)
            write_voice(staged, folder, TakesResult((line,), (), ()))

    voice = RecordedVoice(find_voice("own", tmp_path))
    found = [voice.find(f"{long} {side} knee out.") for side in ("left", "right")]
    assert [soundfile.info(one.path).frames for one in found] == [9_000, 30_000]
    assert len(voice.index.clips) == 2


def test_what_another_process_records_meanwhile_stays(tmp_path, monkeypatch):
    """By another desk, or by `takes`: a line kept or taken back loses no other line, and no clip of one."""
    folder, clip = tmp_path / "voices" / "me", np.full(4_800, 0.1, np.float32)
    keep_clip(folder, 1, "One.", clip)
    index_written = voice_folder_module._write_index

    def then_another(number, text):
        def written(*args):
            index_written(*args)
            monkeypatch.setattr(voice_folder_module, "_write_index", index_written)
            keep_clip(folder, number, text, clip)

        monkeypatch.setattr(voice_folder_module, "_write_index", written)

    then_another(2, "Two.")
    keep_clip(folder, 3, "Three.", clip)
    then_another(4, "Four.")
    take_back(folder, "One.")
    rows = json.loads((folder / "index.json").read_text(encoding="utf-8"))["clips"]
    assert sorted(row["text"] for row in rows) == ["Four.", "Three.", "Two."]
    assert sorted(path.name for path in folder.glob("*.wav")) == sorted(row["file"] for row in rows)


@pytest.mark.parametrize("name", ["", "../up", "a b", "x" * 41])
def test_a_voice_needs_a_plain_name(tmp_path, name):
    """A name that could be a path, or none, is refused."""
    with pytest.raises(UsageError, match="is not a name; use letters, digits"):
        voice_folder(tmp_path, name)


def heard(text: str, start_s: float, number: int | None = None) -> HeardPiece:
    words = tuple(
        HeardWord(word, start_s + 0.2 * k, start_s + 0.2 * k + 0.2) for k, word in enumerate(text.split())
    )
    return HeardPiece(start_s, start_s + 0.2 * max(1, len(words)), words, number)


def test_the_order_of_reading_decides_between_like_lines():
    """The same words heard twice are two readings of one line, unless the script has them twice over."""
    lines = ["Plank.", "Next: plank.", "Rest."]
    pieces = [heard("plank", 0), heard("next", 2), heard("plank", 2.6), heard("rest", 5)]

    takes = match_takes(pieces, lines)

    assert [(take.line, take.start_s) for take in takes] == [(0, 0), (1, 2), (2, 5)]


def test_a_false_start_is_not_sure_and_the_whole_reading_is():
    """A take that lacks the line's last word stays below what counts as good."""
    takes = match_takes([heard("ten seconds", 0), heard("ten seconds left", 3)], ["Ten seconds left."])

    assert [take.confidence >= 0.82 for take in takes] == [False, True]


def test_a_person_is_asked_where_more_than_one_word_in_six_was_heard_otherwise():
    """One word in six is taken for the recogniser's mistake, one in five is not; no other line is near."""
    sure = {}
    for n_words in (5, 6):
        words = ["press", "the", "floor", "away", "from", "you"][:n_words]
        (take,) = match_takes([heard(" ".join([*words[:2], "door", *words[3:]]), 0)], [" ".join(words)])
        sure[n_words] = take.confidence >= SURE_TAKE

    assert sure == {5: False, 6: True}


def test_a_word_heard_out_of_order_is_not_sure():
    """Teens for tens: what goes back where lines are unread is doubted, and offered for those lines."""
    lines = ["Nineteen.", "Twenty.", "Thirteen.", "Fourteen.", "Thirty.", "Forty.", "Fifty.", "Seventy."]
    said = ["nineteen", "twenty", "thirteen", "fourteen", "thirteen", "fourteen", "fifty", "seventy"]
    pieces = [heard(text, 2.0 * k) for k, text in enumerate(said)]

    takes = match_takes(pieces, lines)
    gaps = fill_gaps(pieces, takes, lines)

    assert [take.line for take in takes if take.confidence >= 0.82] == [0, 1, 2, 3, 6, 7]
    assert [(take.line, take.start_s) for take in gaps] == [(4, 8.0), (5, 10.0)]
    assert all(take.confidence < 0.82 for take in gaps)


def test_a_passage_read_again_at_the_end_is_sure():
    """Three lines or more that were all read before are a second reading, and the last one counts."""
    lines = ["Heels heavy.", "Long neck.", "Press away.", "Deep breath."]
    said = ["heels heavy", "long neck", "press away", "deep breath", "heels heavy", "long neck", "press away"]

    takes = match_takes([heard(text, 2.0 * k) for k, text in enumerate(said)], lines)

    assert [take.confidence >= 0.82 for take in takes] == [True] * 7


def test_a_short_line_read_twice_may_be_the_next_one():
    """One word heard twice where the next line is missing is listened to for both."""
    lines = ["Eight.", "Nine.", "Ten.", "Eleven."]
    pieces = [heard(text, 2.0 * k) for k, text in enumerate(["eight", "nine", "nine", "eleven"])]

    takes = repeats_doubted(match_takes(pieces, lines), lines)

    assert [(take.line, take.start_s, take.confidence >= 0.82) for take in takes] == [
        (0, 0.0, True), (1, 2.0, True), (1, 4.0, False), (3, 6.0, True), (2, 4.0, False),
    ]  # fmt: skip


def test_lines_apart_by_one_word_are_rivals():
    """The rivals of a line differ in one word, those nearest in letters first."""
    lines = ["Fifteen seconds left.", "Ten seconds left.", "Fifty seconds left.", "Left side.", "Rest."]

    assert rivals(lines) == [[2, 1], [0, 2], [0, 1], [], []]


def test_a_line_must_lead_its_rivals_on_the_sound():
    """The words that were spoken lead, and words that were not trail, by the engine's scores."""
    import soxr

    said = soxr.resample(natural("Left leg forward this time.").samples, RATE, 16_000)
    sound = np.concatenate([np.zeros(2000), said, np.zeros(2000)]).astype(np.float32)
    sound += np.random.default_rng(2).standard_normal(len(sound)).astype(np.float32) * 1e-3
    left, right = "Left leg forward this time.", "Right leg forward this time."

    assert lead(Aligner(), sound, left, [right])[0] > 150
    assert lead(Aligner(), sound, right, [left])[0] < 0


def test_a_number_read_aloud_says_which_line_comes():
    """A line's number outweighs the order."""
    lines = ["Left leg forward.", "Right leg forward.", "Hold it."]

    takes = match_takes([heard("right leg forward", 0, number=2)], lines)

    assert [(take.line, take.numbered) for take in takes] == [(1, True)]
    assert leading_number(["number", "twenty", "one", "hold"]) == (21, 3)
    assert leading_number(["hold", "it"]) == (None, 0)


def test_pauses_split_a_recording():
    """Three bursts in room noise are three pieces, their edges within 60 ms."""
    rng = np.random.default_rng(3)
    sound = (rng.standard_normal(16_000 * 6) * 10 ** (-62 / 20)).astype(np.float32)
    for start in (1.0, 2.5, 4.2):
        time = np.arange(round(0.8 * 16_000)) / 16_000
        sound[round(start * 16_000) : round(start * 16_000) + len(time)] += 0.1 * np.sin(2500 * time)

    pieces = split_at_pauses(frames_of(sound), len(sound), 16_000)

    assert [piece.start_s for piece in pieces] == pytest.approx([1.0, 2.5, 4.2], abs=0.06)
    assert [piece.end_s for piece in pieces] == pytest.approx([1.8, 3.3, 5.0], abs=0.06)


class Counted:
    """16-bit samples of noise as long as asked, which notes how many are read at once and in all."""

    def __init__(self, n_frames: int) -> None:
        self._n_frames, self.most, self.total = n_frames, 0, 0

    def __len__(self) -> int:
        return self._n_frames

    def __getitem__(self, at: slice) -> np.ndarray:
        start, stop, _ = at.indices(self._n_frames)
        self.most, self.total = max(self.most, stop - start), self.total + max(0, stop - start)
        return np.random.default_rng(start).integers(-30, 30, max(0, stop - start)).astype(np.int16)


@pytest.mark.parametrize("minutes", [12, 24])
def test_a_long_recording_is_read_in_stretches(minutes):
    """Levels and pauses read each second twice, and where stretches meet a pause on either side once more;
    never more than five minutes and two pauses at once.
    """
    rate, n_frames, asked = 1000, minutes * 60_000, []

    def frames(start: int, end: int) -> gen.Array:
        asked.append(end - start)
        at = np.arange(start, end)
        # A phrase of two seconds each half minute; one lies across the first stretch's end.
        loud = (at + 1000) % 30_000 < 2000
        return np.where(loud, 0.1 * np.sin(at), 1e-4 * np.sin(at)).astype(np.float32)

    levels = measure_levels(frames, n_frames, rate)
    pieces = split_at_pauses(frames, n_frames, rate, levels)

    assert max(asked) == 300_000 + 2 * splitting.PAUSE_MS
    assert sum(asked) == 2 * n_frames + 2 * splitting.PAUSE_MS * (minutes // 5)
    assert levels.floor_dbfs == pytest.approx(-83.0, abs=0.5)  # 1e-4 of amplitude, RMS over 10 ms
    assert levels.speech_dbfs == pytest.approx(-23.0, abs=0.5)
    # The first and the last phrase lie half outside.
    assert [piece.start_s for piece in pieces[1:]] == pytest.approx(
        [30.0 * n - 1 for n in range(1, 2 * minutes + 1)], abs=0.02
    )
    assert [piece.end_s - piece.start_s for piece in pieces[1:-1]] == pytest.approx(
        [2.0] * (2 * minutes - 1), abs=0.02
    )


def test_where_stretches_meet_counts_for_nothing(monkeypatch):
    """A reading in stretches has the pieces that it has as a whole, wherever its pauses lie."""
    rate, rng = 16_000, np.random.default_rng(11)
    for n in rng.uniform(6.0, 9.3, 40) * rate:
        sound = rng.normal(0.0, 1e-4, round(n)).astype(np.float32)
        at = 0
        while at < n:
            speaks, rests = (rng.uniform(0.1, (1.5, 0.9), 2) * rate).astype(int)
            sound[at : at + speaks] *= 1_000
            at += speaks + rests
        levels = measure_levels(frames_of(sound), len(sound), rate)
        found = []
        for stretch_s in (3.0, 300.0):
            monkeypatch.setattr(splitting, "_CHUNK_S", stretch_s)
            found.append(split_at_pauses(frames_of(sound), len(sound), rate, levels))
        assert found[0] == found[1]
    silence = np.full(round(3.1 * rate), 1e-5, np.float32)
    silence[rate : rate + 8_000] = 0.1
    monkeypatch.setattr(splitting, "_CHUNK_S", 3.0)
    assert split_at_pauses(frames_of(silence), len(silence), rate) == [SpokenPiece(1.0, 1.5)]


def test_levels_are_the_percentiles_that_numpy_tells():
    """The levels of ten seconds of noise that grows louder are numpy's, to a count's width."""
    rng = np.random.default_rng(4)
    sound = (rng.standard_normal(160_000) * np.geomspace(1e-4, 0.3, 160_000)).astype(np.float32)
    power = (sound.reshape(-1, 160).astype(np.float64) ** 2).mean(axis=1)
    expected = np.percentile(10 * np.log10(power + 1e-10), [10, 95], method="lower")

    levels = measure_levels(frames_of(sound), len(sound), 16_000)

    # Half a count of 0.01 dB, and the last bit of a float.
    assert [levels.floor_dbfs, levels.speech_dbfs] == pytest.approx(expected, abs=0.005 + 1e-9)


def test_an_hour_of_pause_is_not_read_for_its_room_tone():
    """Thirty seconds of a pause are enough, however long it is."""
    full = Counted(3600 * RATE)
    recording = Recording(Path("quiet.wav"), full, Counted(3600 * 16_000))

    tone = room_tone(recording, [SpokenPiece(0.0, 1.0), SpokenPiece(3590.0, 3591.0)])

    assert tone is not None
    assert full.most == 30 * RATE


def test_room_tone_is_lowered_by_no_more_than_asked():
    """Noise between words comes down by about what was asked, and a tone 40 dB above it keeps its level."""
    rng = np.random.default_rng(5)
    noise = (rng.standard_normal(RATE * 2) * 1e-3).astype(np.float32)
    window = np.hanning(2048)
    starts = range(0, len(noise) - 2048, 1024)
    tone = np.mean([np.abs(np.fft.rfft(noise[k : k + 2048] * window)) ** 2 for k in starts], axis=0)
    sound = noise.copy()
    sound[RATE:] += (0.1 * np.sin(2 * np.pi * 800 * np.arange(RATE) / RATE)).astype(np.float32)

    out = soften(sound, tone, 9.0)

    def level_db(x: gen.Array) -> float:
        return float(10 * np.log10((x**2).mean()))

    assert -9.5 < level_db(out[4800:40_000]) - level_db(noise[4800:40_000]) < -5.0
    assert level_db(out[RATE + 4800 :]) == pytest.approx(level_db(sound[RATE + 4800 :]), abs=0.2)


def test_fades_touch_only_the_ends():
    """pydub's fades leave the middle as it was, to 24 bits, and bring both ends to nothing."""
    clip = np.full(RATE, 0.25, np.float32)

    out = fade_ends(clip, 0.04, 0.075)

    assert np.abs(out[round(0.041 * RATE) : -round(0.076 * RATE)] - 0.25).max() < 2**-24
    assert abs(out[0]) < 1e-3
    assert abs(out[-1]) < 1e-2


def test_file_names_are_plain():
    """A clip's file says its line in plain letters, whatever the line holds."""
    assert file_name(7, "Épaules: ../down, slow!") == "007-epaules-down-slow.wav"
    assert file_name(12, "…") == "012-line.wav"


def test_lines_heard_by_a_recogniser_of_another_language_are_said_to_be(tmp_path, monkeypatch):
    """Without one for the plan's language the light one tries; the result names it and a note doubts it."""
    monkeypatch.setattr("cuelane.recording.strong_model.missing", lambda: "what installs it")
    path = tmp_path / "reading.wav"
    sound = natural("Hold it there.").samples
    soundfile.write(path, np.pad(sound, RATE), RATE)

    result = find_takes([path], ["Große Übung, für später.", "Ещё раз."], language="de")

    assert "pocketsphinx" in result.recogniser
    assert "no recogniser that knows 'de' is installed" in result.notes[0]
