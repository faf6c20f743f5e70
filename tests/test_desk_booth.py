"""The booth: lines and their takes, judged, kept beside the plan, heard with it, and taken back."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from children import fork_instead
from cuelane.audio.store import ClipStore
from cuelane.desk import whole_reading
from cuelane.desk.app import application
from cuelane.desk.booth import key_of
from cuelane.desk.guard import Guard
from cuelane.desk.one_take import take_from
from cuelane.desk.uploads import LARGE, MIB
from cuelane.meter.gating import clip_loudness_lufs
from cuelane.speech.voices import find_voice
from cuelane.takes.run import LineResult, TakesResult
from deskkit import PORT, Answer, ask, post, until

RATE = 48_000
PLAN = (
    "title: Pier\nvoice: system\nsession:\n  - block: A\n    pattern: circuit\n    work: 30s\n"
    "    exercises: [row]\nexercises:\n  row:\n    setup: Sit tall.\n    form: [Pull the elbows back.]\n"
)
KEY = key_of("Sit tall.")
MAINS_HUM = 0.02 * np.sin(2 * np.pi * 100 * np.arange(round(3.7 * RATE)) / RATE)
"""Twice the mains frequency of 50 Hz (IEC 60038), as transformers hum."""


def voiced(seconds: float, peak: float = 0.3, hertz: float = 150.0) -> np.ndarray:
    """Return something like speech: a tone with overtones whose loudness rises and falls four times a second.

    The rate is that of syllables: Houtgast and Steeneken, JASA 77 (1985), put it at 3 to 5 Hz.
    """
    seconds_in = np.arange(round(seconds * RATE)) / RATE
    wave = sum(np.sin(2 * np.pi * hertz * n * seconds_in) / n for n in range(1, 20))
    wave = wave * (0.65 - 0.35 * np.cos(2 * np.pi * 4 * seconds_in))
    return peak * wave / np.abs(wave).max()


def take_of(
    spoken: np.ndarray, *, before_s: float = 2.1, after_s: float = 0.6, noise_dbfs: float = -75.0
) -> np.ndarray:
    """Return a take: a count-in's quiet, the line, a little quiet, over the room's noise (RMS)."""
    quiet = [np.zeros(round(seconds * RATE)) for seconds in (before_s, after_s)]
    whole = np.concatenate([quiet[0], spoken, quiet[1]])
    return whole + 10 ** (noise_dbfs / 20) * np.random.default_rng(3).standard_normal(len(whole))


def as_wav(samples: np.ndarray) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, np.clip(samples, -1, 1), RATE, format="WAV", subtype="PCM_24")
    return file.getvalue()


@pytest.fixture
def desk(tmp_path: Path) -> Any:
    (tmp_path / "p.yaml").write_text(PLAN, encoding="utf-8")
    return application(tmp_path, ClipStore(tmp_path / ".clips"))


def upload(desk: Any, samples: np.ndarray, key: str = KEY, query: str = "voice=mine&after=2.1") -> Answer:
    return ask(desk, "POST", f"/api/take/p.yaml/{key}?{query}", body=as_wav(samples))


def kept(desk: Any, samples: np.ndarray, key: str = KEY) -> Answer:
    take = upload(desk, samples, key)
    assert take.status == 200, take.body
    return post(desk, "/api/booth/p.yaml/keep", {"key": key, "id": take.json["id"], "voice": "mine"})


def test_every_line_is_there_with_its_room(desk: Any) -> None:
    """In the order of the reading script, none recorded, the voice's name proposed."""
    state = ask(desk, "GET", "/api/booth/p.yaml").json
    texts = [line["text"] for line in state["lines"]]
    assert {"Sit tall.", "Pull the elbows back."} <= set(texts)
    assert state["voice"] == "mine"
    assert state["plan_voice"] == "system"
    assert not any(line["mine"] for line in state["lines"])
    assert next(line for line in state["lines"] if line["text"] == "Sit tall.")["room_s"] > 0
    page = ask(desk, "GET", "/booth/p.yaml")
    assert page.status == 200
    assert b"style=" not in page.body
    assert b"onclick" not in page.body


def test_a_kept_take_is_heard_in_the_plan_and_can_be_taken_back(desk: Any, tmp_path: Path) -> None:
    """Its clip lies at the loudness of all takes; the plan, once told, says the line with it and no other."""
    state = kept(desk, take_of(voiced(1.0))).json
    assert [line["text"] for line in state["lines"] if line["mine"]] == ["Sit tall."]
    (file,) = (tmp_path / "voices" / "mine").glob("*.wav")
    clip, rate = soundfile.read(file)
    assert rate == RATE
    assert 1.0 <= len(clip) / rate <= 1.4
    # ITU-R BS.1770-4 measures in blocks of 400 ms; trimming and fading the ends moves it by less than 1 dB.
    assert clip_loudness_lufs(clip, RATE) == pytest.approx(-23.0, abs=1.0)
    assert "voice: system" in (tmp_path / "p.yaml").read_text(encoding="utf-8"), "offered, not forced"
    assert find_voice("mine", tmp_path).settings.fallback == "system"  # type: ignore[attr-defined]
    edit = {"number": state["number"], "edits": [{"op": "set", "at": "voice", "value": "mine"}], "what": ""}
    assert post(desk, "/api/plan/p.yaml/edit", edit).status == 200
    assert ask(desk, "GET", "/api/booth/p.yaml").json["plan_voice"] == "mine"
    lines = ask(desk, "GET", f"/take/p.yaml/{KEY}/kept.wav?voice=mine")
    assert len(lines.body) > 44
    back = post(desk, "/api/booth/p.yaml/back", {"key": KEY, "voice": "mine"})
    assert not any(line["mine"] for line in back.json["lines"])
    assert not file.exists()
    assert ask(desk, "GET", f"/take/p.yaml/{KEY}/kept.wav?voice=mine").status == 400
    again = post(desk, "/api/booth/p.yaml/keep", {"key": KEY, "id": back.json["id"], "voice": "mine"})
    assert sum(line["mine"] for line in again.json["lines"]) == 1, "taking back can itself be taken back"
    assert file.exists()


def test_a_second_take_replaces_the_first(desk: Any, tmp_path: Path) -> None:
    """One clip for a line, the last that was kept; other lines stay."""
    kept(desk, take_of(voiced(1.0)))
    kept(desk, take_of(voiced(0.8)), key_of("Pull the elbows back."))
    kept(desk, take_of(voiced(1.5)))
    index = json.loads((tmp_path / "voices/mine/index.json").read_text(encoding="utf-8"))["clips"]
    assert sorted(entry["text"] for entry in index) == ["Pull the elbows back.", "Sit tall."]
    assert len(list((tmp_path / "voices/mine").glob("*.wav"))) == 2


@pytest.mark.parametrize(
    ("samples", "codes"),
    [
        (take_of(voiced(1.0)), []),
        (take_of(np.clip(voiced(1.0, 4.0), -1, 1)), ["clipped"]),
        (take_of(voiced(1.0, 0.008), noise_dbfs=-95), ["soft"]),
        (take_of(voiced(1.0), noise_dbfs=-35), ["noise"]),
        (take_of(voiced(1.0)) + MAINS_HUM, ["hum"]),
        (take_of(voiced(1.0), after_s=0.0), ["cut_off"]),
        (take_of(voiced(3.0)), ["long"]),
    ],
    ids=["good", "clipped", "soft", "noise", "hum", "cut off", "long"],
)  # fmt: skip
def test_what_is_wrong_with_a_take_is_said(tmp_path: Path, samples: np.ndarray, codes: list[str]) -> None:
    """Each fault alone gives its own word and no other."""
    path = tmp_path / "take.wav"
    path.write_bytes(as_wav(samples))
    take = take_from(path, room_s=2.0, spoke_from_s=2.1)
    assert [remark.code for remark in take.remarks] == codes


def test_a_key_pressed_to_end_it_is_no_part_of_the_line(tmp_path: Path) -> None:
    """The microphone hears the key; what comes after it was pressed is left out, as is the count-in."""
    click = np.zeros(round(0.4 * RATE))
    click[1000:2000] = 0.5
    sound = np.concatenate([click, take_of(voiced(1.0)), click])
    path = tmp_path / "take.wav"
    path.write_bytes(as_wav(sound))
    take = take_from(path, spoke_from_s=2.5, until_s=len(sound) / RATE - 0.4)
    # A window of 10 ms finds the ends of what is audible, and the tone's ends are its softest parts.
    assert take.seconds == pytest.approx(1.0, abs=0.08)


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b"", "nothing came"),
        (b"<script>alert(1)</script>" * 40, "not"),
        (as_wav(np.zeros(RATE * 2)), "Nothing was heard"),
        (as_wav(1e-3 * np.random.default_rng(1).standard_normal(RATE * 3)), "Nothing was heard"),
        (as_wav(np.zeros(RATE // 10)), "less than 0.2 s"),
        (as_wav(np.zeros(RATE * 121)), "longer than 120 s"),
        (b"RIFF\xff\xff\xff\xffWAVEfmt ", ""),
        (b"file '/etc/passwd'\n", "not"),
        (b"#EXTM3U\nhttp://192.0.2.1/x.wav\n", "not"),
    ],
    ids=[
        "empty",
        "a script",
        "silence",
        "a hiss",
        "too short",
        "too long",
        "a stump",
        "a list",
        "a playlist",
    ],
)
def test_what_is_no_take_is_refused_in_words(desk: Any, tmp_path: Path, body: bytes, said: str) -> None:
    """And without the name of a temporary file; nothing is written."""
    answer = ask(desk, "POST", f"/api/take/p.yaml/{KEY}?voice=mine", body=body)
    assert answer.status == 400
    assert said in answer.json["error"]
    assert "/cuelane-" not in answer.json["error"]
    assert not (tmp_path / "voices").exists()


@pytest.mark.parametrize("voice", ["", "..", "../x", "a/b", ".hidden", "a" * 41, "nul\x00", "C:x", "%2e%2e"])
def test_a_voice_cannot_be_put_elsewhere(desk: Any, tmp_path: Path, voice: str) -> None:
    """A name is letters, digits, - and _; what is no name writes nothing."""
    take = upload(desk, take_of(voiced(1.0)))
    before = sorted(tmp_path.rglob("*"))
    answer = post(desk, "/api/booth/p.yaml/keep", {"key": KEY, "id": take.json["id"], "voice": voice})
    assert answer.status == 400
    assert "--" not in answer.json["error"], "a page has fields, not options"
    assert sorted(tmp_path.rglob("*")) == before


def test_an_index_that_names_files_elsewhere_deletes_nothing(desk: Any, tmp_path: Path) -> None:
    """A hostile folder of recordings: its clip is another file; taking it back leaves that file alone."""
    voice = tmp_path / "voices" / "mine"
    voice.mkdir(parents=True)
    precious = tmp_path / "precious.wav"
    soundfile.write(precious, take_of(voiced(1.0)), RATE)
    index = {"clips": [{"text": "Sit tall.", "file": "../../precious.wav"}]}
    (voice / "index.json").write_text(json.dumps(index), encoding="utf-8")
    post(desk, "/api/booth/p.yaml/back", {"key": KEY, "voice": "mine"})
    assert precious.exists()


@pytest.mark.parametrize(
    "index",
    [
        '{"clips": [{"text": "A.", "file": ["a.wav"]}]}',
        '{"clips": [{"text": "A."}]}',
        '{"clips": {}}',
        "[" * 99_999,
    ],
    ids=["list", "no file", "no list", "deep"],
)
def test_an_index_of_something_else_is_said(desk: Any, tmp_path: Path, index: str) -> None:
    """Not a traceback, and no entry is lost in silence; the folder stays as it was."""
    take = upload(desk, take_of(voiced(1.0)))
    voice = tmp_path / "voices" / "mine"
    voice.mkdir(parents=True)
    (voice / "index.json").write_text(index, encoding="utf-8")
    answer = post(desk, "/api/booth/p.yaml/keep", {"key": KEY, "id": take.json["id"], "voice": "mine"})
    assert answer.status == 400
    assert "is not an index of recordings" in answer.json["error"]
    assert [path.name for path in voice.iterdir()] == ["index.json"]
    assert (voice / "index.json").read_text(encoding="utf-8") == index


@pytest.mark.parametrize(
    "path", ["take/p.yaml/nokey", "take/..%2Fp.yaml/x", "take/q.yaml/x", "reading/q.yaml"]
)
def test_takes_of_what_is_not_there_are_refused(desk: Any, path: str) -> None:
    """A line that is not in the plan, a plan that is not in the folder."""
    answer = ask(desk, "POST", f"/api/{path}?voice=mine", body=as_wav(take_of(voiced(1.0))))
    assert answer.status in (400, 404)


def test_a_folder_that_takes_no_voice_is_said(desk: Any, tmp_path: Path) -> None:
    """A file stands where the folder of voices would: the page is told in words, and the take still waits."""
    (tmp_path / "voices").write_text("notes", encoding="utf-8")
    taken = upload(desk, take_of(voiced(1.2))).json
    answer = post(desk, "/api/booth/p.yaml/keep", {"key": KEY, "id": taken["id"], "voice": "mine"})
    assert (answer.status, answer.json["lang"]) == (500, "en")
    assert re.fullmatch(r"this computer did not let that be done: .*\bvoices\b.*: .+", answer.json["error"])
    (tmp_path / "voices").unlink()
    again = post(desk, "/api/booth/p.yaml/keep", {"key": KEY, "id": taken["id"], "voice": "mine"})
    assert again.status == 200


def test_an_endless_take_is_cut_short(desk: Any) -> None:
    """A body without a length is counted as it comes: the guard refuses, and nothing is held of it."""
    guard = Guard(desk, port=PORT, large={**LARGE, "/api/take/": MIB})
    cookie = ask(guard, "GET", f"/open?token={guard.token}").headers["set-cookie"].split(";")[0]
    answer = ask(
        guard,
        "POST",
        f"/api/take/p.yaml/{KEY}?voice=mine",
        body=b"x" * (MIB + 1),
        headers={"cookie": cookie},
        chunks=9,
    )
    assert answer.status == 413


def heard_two(told: Any, source: Path, texts: list[str], language: str) -> TakesResult:
    """Stand in for the recogniser, which takes long to be made: the first line is sure, the second is not."""
    told("listening", 1, 2)
    clip = take_of(voiced(1.0), before_s=0.1, after_s=0.1).astype(np.float32)
    states = ("placed", "uncertain")
    rows = [LineResult(n + 1, text, states[n], clip=clip) for n, text in enumerate(texts[:2])]
    rows += [LineResult(n + 3, text, "missing") for n, text in enumerate(texts[2:])]
    return TakesResult(tuple(rows), (), (f"{source.name}: speech is only 20 dB above the room",))


def heard_the_language(told: Any, source: Path, texts: list[str], language: str) -> TakesResult:
    """Stand in for the recogniser; by name, since it is called in another process."""
    return TakesResult((), (), (f"the lines are in {language}",))


def ended(desk: Any) -> Any:
    """Return the state of a whole reading once nothing runs any more."""
    return until(
        lambda: ask(desk, "GET", "/api/booth/p.yaml/reading").json, lambda now: now["state"] != "running"
    )


def test_of_a_whole_reading_the_chosen_lines_are_kept(
    desk: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is listened to in a process of its own; what was uncertain is kept where a person says so."""
    fork_instead(monkeypatch)
    monkeypatch.setattr(whole_reading, "_listen", heard_two)
    answer = ask(desk, "POST", "/api/reading/p.yaml", body=as_wav(take_of(voiced(1.0))))
    assert answer.json["state"] in ("running", "done")
    found = ended(desk)
    assert found["notes"] == ["speech is only 20 dB above the room"]
    assert [line["state"] for line in found["lines"]][:3] == ["placed", "uncertain", "missing"]
    assert not (tmp_path / "voices").exists(), "nothing is kept unasked"
    second = found["lines"][1]["key"]
    assert ask(desk, "GET", f"/reading/p.yaml/{second}.wav").body[:4] == b"RIFF"
    kept = post(desk, "/api/booth/p.yaml/reading", {"keys": [second, "no such"], "voice": "mine"}).json
    assert kept["kept"] == 1
    # What was not read goes on being spoken by the plan's own voice, as after a single take.
    assert find_voice("mine", tmp_path).settings.fallback == "system"  # type: ignore[attr-defined]
    assert [line["key"] for line in kept["lines"] if line["mine"]] == [second]
    assert ask(desk, "GET", "/api/booth/p.yaml/reading").json == {"state": "none"}


def test_a_reading_is_heard_in_the_language_of_its_plan(
    desk: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The recogniser is chosen by it: one that knows English alone would find none of the lines."""
    (tmp_path / "p.yaml").write_text(PLAN.replace("title:", "language: de\ntitle:", 1), encoding="utf-8")

    asked = []
    monkeypatch.setattr(whole_reading, "find_takes", lambda *_, language, progress: asked.append(language))
    whole_reading._listen(lambda *_: None, tmp_path / "any", ["Sitz lang."], "de")
    assert asked == ["de"]
    fork_instead(monkeypatch)
    monkeypatch.setattr(whole_reading, "_listen", heard_the_language)
    ask(desk, "POST", "/api/reading/p.yaml", body=as_wav(take_of(voiced(1.0))))
    assert ended(desk)["notes"] == ["the lines are in de"]


def test_a_reading_that_is_no_sound_is_refused_in_words(desk: Any, tmp_path: Path) -> None:
    """By the child that would have listened; the temporary file is not named."""
    ask(desk, "POST", "/api/reading/p.yaml", body=b"<html>no sound</html>" * 9)
    found = ended(desk)
    assert found["state"] == "failed"
    assert found["error"]
    assert "cuelane-desk" not in found["error"]


def test_a_take_goes_only_to_its_own_line(desk: Any) -> None:
    """A take of one line cannot be kept as another, and one that is no longer held not at all."""
    take = upload(desk, take_of(voiced(1.0)))
    other = {"key": key_of("Pull the elbows back."), "id": take.json["id"], "voice": "mine"}
    assert post(desk, "/api/booth/p.yaml/keep", other).status == 400
    assert post(desk, "/api/booth/p.yaml/keep", {"key": KEY, "id": "gone", "voice": "mine"}).status == 400
