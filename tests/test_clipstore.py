"""The clip store gives back exactly what it was given, or nothing."""

from __future__ import annotations

import errno
import hashlib
import os
import signal
import subprocess
import sys
import textwrap
import threading

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cuelane.audio import kept_pieces
from cuelane.audio.clip import Clip, content_hash, quantise24
from cuelane.audio.store import ClipStore, default_folder, recipe_key
from cuelane.base.errors import DeliveryError, SignalError


def make_clip(seed: int = 1, n_frames: int = 4_800, text: str = "Rest.") -> Clip:
    rng = np.random.default_rng(seed)
    samples = quantise24(rng.uniform(-0.5, 0.5, n_frames))
    return Clip(text, "burst", 48_000, samples, content_hash(samples), (("Rest", 0, n_frames),))


def same(left: Clip | None, right: Clip) -> bool:
    return (
        left is not None
        and np.array_equal(left.samples, right.samples)
        and left.samples.dtype == np.float32
        and (left.text, left.voice, left.sample_rate, left.sha256, left.words)
        == (right.text, right.voice, right.sample_rate, right.sha256, right.words)
    )


KEY = recipe_key({"text": "Rest."})


def test_a_clip_comes_back_as_it_was_put(tmp_path):
    """By recipe and by content, the same samples bit for bit, with words and names."""
    clip = make_clip()
    ClipStore(tmp_path).put(KEY, clip)

    again = ClipStore(tmp_path)
    assert same(again.get(KEY), clip)
    assert same(again.by_hash(clip.sha256), clip)


@settings(
    derandomize=True,
    deadline=None,
    max_examples=40,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(st.integers(-8_388_608, 8_388_607), min_size=1, max_size=64), st.text(max_size=20))
def test_every_24_bit_value_and_text_survives(tmp_path, values, text):
    """The extremes of the grid and any text are kept exactly."""
    samples = np.array(values, dtype=np.float64) / 8_388_608
    clip = Clip(
        text.encode("utf-8", "replace").decode(), "v", 48_000, quantise24(samples), content_hash(samples)
    )
    store = ClipStore(tmp_path)
    store.put(KEY, clip)

    assert same(store.get(KEY), clip)


def test_the_file_is_plain_24_bit_wav_with_reproducible_bytes(tmp_path):
    """Any sound program opens it, and two stores hold the same bytes."""
    clip = make_clip(n_frames=70_000)
    hashes = []
    for name in ("one", "two"):
        ClipStore(tmp_path / name).put(KEY, clip)
        (wav,) = (tmp_path / name).rglob("*.wav")
        hashes.append(hashlib.sha256(wav.read_bytes()).hexdigest())

    assert hashes[0] == hashes[1]
    info = soundfile.info(wav)
    assert (info.samplerate, info.channels, info.subtype, info.frames) == (48_000, 1, "PCM_24", 70_000)
    assert wav.stem == clip.sha256.removeprefix("sha256:")


def test_what_is_not_there_is_none(tmp_path):
    """Unknown keys, unknown hashes and things that are neither give nothing."""
    store = ClipStore(tmp_path)

    assert store.get(KEY) is None
    assert store.by_hash("sha256:" + "0" * 64) is None
    assert store.get("../../etc/passwd") is None
    assert store.by_hash("sha256:../../../x") is None
    assert not list(tmp_path.iterdir())


def flip_a_sample(path):
    raw = bytearray(path.read_bytes())
    raw[-100] ^= 1
    path.write_bytes(raw)


DAMAGE = {
    "one bit of audio": ("*.wav", flip_a_sample),
    "half the audio": ("*.wav", lambda path: path.write_bytes(path.read_bytes()[:2_000])),
    "no audio": ("*.wav", lambda path: path.unlink()),
    "empty audio": ("*.wav", lambda path: path.write_bytes(b"")),
    "cut recipe": ("recipes/*/*.json", lambda path: path.write_bytes(path.read_bytes()[:30])),
    "recipe of another shape": ("recipes/*/*.json", lambda path: path.write_text("[1, 2]")),
    "recipe naming no hash": (
        "recipes/*/*.json",
        lambda path: path.write_text(path.read_text().replace("sha256:", "md5:")),
    ),
    "recipe of another length": (
        "recipes/*/*.json",
        lambda path: path.write_text(path.read_text().replace("4800,", "4801,")),
    ),
}


@pytest.mark.parametrize(("pattern", "spoil"), DAMAGE.values(), ids=DAMAGE.keys())
def test_damage_is_absence_and_a_new_put_mends_it(tmp_path, pattern, spoil):
    """A damaged file is never served, is removed, and the clip can be stored again."""
    clip = make_clip()
    store = ClipStore(tmp_path)
    store.put(KEY, clip)
    (path,) = tmp_path.glob(pattern) if "/" in pattern else tmp_path.rglob(pattern)
    spoil(path)

    assert store.get(KEY) is None
    assert not path.exists()
    store.put(KEY, clip)
    assert same(store.get(KEY), clip)


def test_putting_over_damaged_audio_mends_it(tmp_path):
    """A put does not trust a file that is already there."""
    clip = make_clip()
    store = ClipStore(tmp_path)
    store.put(KEY, clip)
    (wav,) = tmp_path.rglob("*.wav")
    flip_a_sample(wav)
    store.put(recipe_key({"text": "another"}), clip)

    assert same(store.by_hash(clip.sha256), clip)


def test_samples_off_the_grid_are_refused(tmp_path):
    """Memory and store would otherwise differ."""
    samples = np.full(100, 0.1, dtype=np.float32)
    with pytest.raises(SignalError, match="quantise24"):
        ClipStore(tmp_path).put(KEY, Clip("x", "v", 48_000, samples, content_hash(samples)))


def test_a_wrong_hash_is_refused(tmp_path):
    """A clip cannot be filed under another's name."""
    clip = make_clip()
    wrong = Clip(clip.text, clip.voice, 48_000, clip.samples, "sha256:" + "0" * 64)
    with pytest.raises(SignalError, match="does not match its samples"):
        ClipStore(tmp_path).put(KEY, wrong)


def test_a_folder_that_cannot_be_written_says_so(tmp_path):
    """The message names the folder and the way out."""
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    with pytest.raises(DeliveryError, match="CUELANE_CACHE"):
        ClipStore(blocked).put(KEY, make_clip())


def size_of(folder):
    return sum(path.stat().st_size for path in folder.glob("*/*/*") if path.is_file())


def test_the_least_recently_used_clip_goes_first(tmp_path):
    """Past its size the store forgets what was not asked for, and keeps what was."""
    clips = [make_clip(seed) for seed in range(5)]
    keys = [recipe_key({"n": n}) for n in range(5)]
    with ClipStore(tmp_path) as store:
        for n in range(4):
            store.put(keys[n], clips[n])
            for path in tmp_path.glob("*/*/*"):
                os.utime(path, ns=(path.stat().st_atime_ns, path.stat().st_mtime_ns - 10**9))
    with ClipStore(tmp_path) as store:
        assert same(store.get(keys[0]), clips[0])
    with ClipStore(tmp_path, max_bytes=80_000) as store:
        store.put(keys[4], clips[4])
        store.put(recipe_key({"n": 5}), make_clip(5))

    assert size_of(tmp_path) <= 80_000
    store = ClipStore(tmp_path)
    assert same(store.get(keys[0]), clips[0])
    assert store.get(keys[1]) is None
    assert same(store.get(keys[4]), clips[4])


def test_another_process_filling_the_folder_is_noticed(tmp_path):
    """A store opened on a full folder shrinks it at its first put."""
    with ClipStore(tmp_path) as big:
        for n in range(6):
            big.put(recipe_key({"n": n}), make_clip(n))
    small = ClipStore(tmp_path, max_bytes=50_000)
    small.put(KEY, make_clip(9))

    assert size_of(tmp_path) <= 50_000
    assert same(small.get(KEY), make_clip(9))


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL to send")
def test_a_process_killed_before_the_rename_leaves_nothing_half(tmp_path):
    """A clip is there whole or not there, whenever the writer dies."""
    code = textwrap.dedent(
        """
        import os, signal, sys
        from pathlib import Path
        import numpy as np
        from cuelane.audio import store as clipstore
        from cuelane.audio import store_files
        from cuelane.audio.clip import Clip, content_hash
        die_at = int(sys.argv[2])
        renames = 0
        def replace(source, target):
            global renames
            if renames == die_at:
                os.kill(os.getpid(), signal.SIGKILL)
            renames += 1
            source.replace(target)
        store_files._replace = replace
        samples = np.zeros(4800, dtype=np.float32); samples[0] = 0.5
        clip = Clip("Rest.", "v", 48000, samples, content_hash(samples))
        clipstore.ClipStore(Path(sys.argv[1])).put("a" * 64, clip)
        """
    )
    for die_at in range(3):
        folder = tmp_path / str(die_at)
        done = subprocess.run(
            [sys.executable, "-c", code, str(folder), str(die_at)], timeout=300, check=False
        )
        assert done.returncode == -signal.SIGKILL
        store = ClipStore(folder)
        assert store.get("a" * 64) is None
        written = [*folder.glob("audio/*/*"), *folder.glob("recipes/*/*")]
        left = [path for path in written if not path.name.startswith(".")]
        assert all(path.stat().st_size > 0 for path in left)
        assert len(left) == die_at
        clip = make_clip()
        store.put("a" * 64, clip)
        assert same(store.get("a" * 64), clip)


def test_temporary_files_of_dead_processes_are_swept(tmp_path):
    """What a killed process left is gone, whatever the clock said; what a living one is writing stays."""
    store = ClipStore(tmp_path)
    store.put(KEY, make_clip())
    (token,) = [path.stem for path in tmp_path.glob("leases/*.txt")]
    (wav,) = tmp_path.rglob("*.wav")
    dead, alive = wav.with_name(".1-aa.bb.tmp"), wav.with_name(f".{token}.bb.tmp")
    for path, when in ((dead, 2**32), (alive, 0)):
        path.write_bytes(b"half")
        os.utime(path, (when, when))
    ClipStore(tmp_path).put(KEY, make_clip(2))

    assert not dead.exists()
    assert alive.exists()


def test_threads_share_a_store(tmp_path):
    """Twenty threads writing and reading the same and different clips lose none."""
    store = ClipStore(tmp_path)
    wrong: list[int] = []

    def work(n: int) -> None:
        clip = make_clip(n % 5)
        store.put(recipe_key({"n": n}), clip)
        if not same(store.get(recipe_key({"n": n})), clip):
            wrong.append(n)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert wrong == []


def test_recipes_are_canonical():
    """Order does not matter, every value does, and NaN is no setting."""
    assert recipe_key({"a": 1, "b": "é"}) == recipe_key({"b": "é", "a": 1})
    # RFC 8785 orders keys and strips space; for these members the form is {"a":1,"b":[true,null]}.
    assert recipe_key({"b": [True, None], "a": 1}) == hashlib.sha256(b'{"a":1,"b":[true,null]}').hexdigest()
    assert recipe_key({"a": 1}) != recipe_key({"a": 2})
    with pytest.raises(ValueError, match="Out of range"):
        recipe_key({"a": float("nan")})


def test_the_folder_can_be_chosen(monkeypatch, tmp_path):
    """CUELANE_CACHE overrides the platform's cache folder."""
    monkeypatch.setenv("CUELANE_CACHE", str(tmp_path))
    assert default_folder() == tmp_path
    assert ClipStore().folder == tmp_path
    monkeypatch.delenv("CUELANE_CACHE")
    assert default_folder().name == "clips"


def test_pieces_come_back_whole_or_not_at_all(tmp_path):
    """A damaged piece is treated as absent and removed; one copied under another key is no piece."""
    store, other = ClipStore(tmp_path), recipe_key({"text": "Work."})
    store.keep_piece(KEY, b"frames" * 1_000)
    assert ClipStore(tmp_path).piece(KEY) == b"frames" * 1_000
    assert store.piece(other) is None
    path = tmp_path / "pieces" / KEY[:2] / f"{KEY}.piece"
    copied = tmp_path / "pieces" / other[:2] / f"{other}.piece"
    copied.parent.mkdir(exist_ok=True)
    copied.write_bytes(path.read_bytes())
    assert store.piece(other) is None
    for damage in (lambda whole: whole[:-1], lambda whole: whole[:40] + b"X" + whole[41:], lambda whole: b""):
        path.write_bytes(damage(path.read_bytes()))
        assert store.piece(KEY) is None
        assert not path.exists()
        store.keep_piece(KEY, b"frames" * 1_000)
    assert store.piece(KEY) == b"frames" * 1_000


def test_pieces_take_a_quarter_of_the_store_and_no_clip_goes_for_them(tmp_path):
    """The oldest go first; what cannot be written is no error."""
    clip = make_clip()
    with ClipStore(tmp_path) as writer:
        writer.put(KEY, clip)
    store = ClipStore(tmp_path, max_bytes=80_000)
    keys = [recipe_key({"piece": number}) for number in range(60)]
    for number, key in enumerate(keys):
        store.keep_piece(key, bytes(1_500))
        os.utime(tmp_path / "pieces" / key[:2] / f"{key}.piece", ns=(number, number))
    store._prune()
    there = {path.stem for path in tmp_path.glob("pieces/??/*")}
    assert sum(path.stat().st_size for path in tmp_path.glob("pieces/??/*")) <= 20_000
    assert there == set(keys[-len(there) :])
    assert same(store.get(KEY), clip)
    (tmp_path / "blocked").write_text("a file where the store's folder should be")
    ClipStore(tmp_path / "blocked").keep_piece(KEY, b"frames")


def test_a_piece_that_cannot_be_read_now_stays(tmp_path, monkeypatch):
    """Too many open files say nothing about a piece."""
    store = ClipStore(tmp_path)
    store.keep_piece(KEY, b"frames")

    def too_many(*_args, **_kwargs):
        raise OSError(errno.EMFILE, "Too many open files")

    with monkeypatch.context() as patch:
        patch.setattr(kept_pieces, "read_ordinary", too_many)
        assert store.piece(KEY) is None
    assert store.piece(KEY) == b"frames"


def test_pieces_make_room_for_clips(tmp_path):
    """Where clips nearly fill the store, pieces have what is left of it, not a quarter."""
    clip = make_clip()
    with ClipStore(tmp_path) as writer:
        writer.put(KEY, clip)
    n_clip = sum(
        path.stat().st_size for kind in ("audio", "recipes") for path in tmp_path.glob(f"{kind}/??/*")
    )
    store = ClipStore(tmp_path, max_bytes=n_clip + 2_000)
    for number in range(4):
        store.keep_piece(recipe_key({"piece": number}), bytes(1_500))
    store._prune()
    assert sum(path.stat().st_size for path in tmp_path.glob("pieces/??/*")) <= 2_000
    assert same(store.get(KEY), clip)
