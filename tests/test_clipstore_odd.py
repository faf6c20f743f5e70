"""What is missing, damaged or odd in the clip store is made again; what is in use is never pruned."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from cuelane.audio.clip import Clip, content_hash, quantise24
from cuelane.audio.store import ClipStore, recipe_key
from cuelane.audio.store_files import set_aside_unless_folder
from cuelane.base.errors import DeliveryError
from cuelane.base.ordinary import OddFileError, read_ordinary
from cuelane.render.run import RenderOptions, clip_loader, prepare, render
from cuelane.render.voicing import spoken_again

posix = pytest.mark.skipif(
    sys.platform == "win32", reason="Windows has no named pipes, devices or links that anybody may make"
)


def a_clip(seed: int = 1, text: str = "Rest.") -> Clip:
    samples = quantise24(np.random.default_rng(seed).uniform(-0.5, 0.5, 2_400))
    return Clip(text, "burst", 48_000, samples, content_hash(samples), (("Rest", 0, 2_400),))


KEY, OTHER = recipe_key({"text": "Rest."}), recipe_key({"text": "Go."})


def put(folder, key=KEY, clip=None) -> Clip:
    clip = clip or a_clip()
    with ClipStore(folder) as store:
        store.put(key, clip)
    return clip


def recipe(folder, key=KEY):
    return folder / "recipes" / key[:2] / f"{key}.json"


def test_a_recipe_copied_over_another_is_none(tmp_path):
    """Each record holds the key it was made for, so that no line is spoken in another's words."""
    put(tmp_path)
    put(tmp_path, OTHER, a_clip(2, "Go."))
    shutil.copyfile(recipe(tmp_path), recipe(tmp_path, OTHER))

    assert ClipStore(tmp_path).get(OTHER) is None
    assert ClipStore(tmp_path).get(KEY).text == "Rest."


@pytest.mark.parametrize("key", ["text", "voice", "sha256", "words", "n_frames", "recipe", "seal"])
def test_a_record_changed_in_one_value_is_none(tmp_path, key):
    """The text and all else that a record says are under its seal."""
    put(tmp_path)
    other = put(tmp_path, OTHER, a_clip(2, "Go."))
    facts = json.loads(recipe(tmp_path).read_bytes())
    facts[key] = {"sha256": other.sha256, "words": [["Go", 0, 9]], "n_frames": 2_399}.get(key, "Go.")
    recipe(tmp_path).write_text(json.dumps(facts))

    assert ClipStore(tmp_path).get(KEY) is None


@pytest.mark.parametrize("damage", ["gone", "cut", "nested"])
def test_the_note_beside_the_audio_is_mended(tmp_path, damage):
    """The samples prove themselves by their hash; what is said in them comes back with the next use."""
    clip = put(tmp_path)
    (note,) = tmp_path.glob("audio/*/*.json")
    if damage == "gone":
        note.unlink()
    else:
        note.write_text('{"format": 1' if damage == "cut" else "[" * 100_000)
    store = ClipStore(tmp_path)
    assert np.array_equal(store.by_hash(clip.sha256).samples, clip.samples)
    assert store.by_hash(clip.sha256).text == ""
    assert store.get(KEY).text == "Rest."
    assert store.by_hash(clip.sha256).text == "Rest."


def folder_with_a_file(path):
    path.mkdir()
    (path / "mine.txt").write_text("kept")


def holes(path):
    with path.open("wb") as file:
        file.truncate(3 * 10**9)


ODD = {
    "empty folder": os.mkdir,
    "folder": folder_with_a_file,
    "nested JSON": lambda path: path.write_text("[" * 100_000 + "]" * 100_000),
    "nested objects": lambda path: path.write_text('{"a":' * 50_000),
    "3 GB of holes": holes,
    "large number": lambda path: path.write_text("9" * 500_000),
    "FIFO": lambda path: os.mkfifo(path),
    "link to itself": lambda path: path.symlink_to(path),
    "link to a device": lambda path: path.symlink_to("/dev/zero"),
    "link to a file": lambda path: path.symlink_to(__file__),
}


@posix
@pytest.mark.parametrize("pattern", ["audio/*/*.wav", "audio/*/*.json", "recipes/*/*.json"])
@pytest.mark.parametrize("make", ODD.values(), ids=ODD.keys())
def test_anything_odd_in_a_clips_place_is_replaced(tmp_path, make, pattern):
    """Nothing hangs, nothing is followed or read without end; a person's folder is set aside."""
    clip = put(tmp_path)
    (path,) = tmp_path.glob(pattern)
    path.unlink()
    make(path)

    store = ClipStore(tmp_path)
    found = store.get(KEY)
    assert (found is None) == (pattern != "audio/*/*.json")
    store.put(KEY, clip)
    assert store.get(KEY).text == "Rest."
    assert np.array_equal(store.by_hash(clip.sha256).samples, clip.samples)
    if make is folder_with_a_file:
        assert [kept.read_text() for kept in tmp_path.glob("odd/*/mine.txt")] == ["kept"]


@pytest.mark.parametrize("where", ["audio", "recipes", "recipes/ab", "leases", "store.lock"])
def test_a_file_or_folder_in_the_way_is_set_aside(tmp_path, where):
    """A store is usable whatever was put into its folder."""
    way = tmp_path / where
    way.parent.mkdir(exist_ok=True)
    if where == "store.lock":
        way.mkdir()
    else:
        way.write_text("in the way")
    key = "ab" + KEY[2:]
    clip = put(tmp_path, key)

    assert ClipStore(tmp_path).get(key).sha256 == clip.sha256
    assert len(list(tmp_path.glob("odd/*"))) == 1


def test_a_folder_that_another_writer_has_just_made_stays(tmp_path, monkeypatch):
    """Two writers make one folder: the later one looks, finds nothing, and must not move the other's away."""
    seen = Path.is_dir

    def made_after_the_look(path):
        there = seen(path)
        if not there:
            os.mkdir(path)  # noqa: PTH102 - Path.mkdir asks is_dir
        return there

    monkeypatch.setattr(Path, "is_dir", made_after_the_look)
    set_aside_unless_folder(tmp_path / "aa", tmp_path)
    (tmp_path / "aa").mkdir(exist_ok=True)
    set_aside_unless_folder(tmp_path / "aa", tmp_path)
    monkeypatch.undo()

    assert [entry.name for entry in tmp_path.iterdir()] == ["aa"]


def test_a_header_that_promises_too_much_is_not_believed(tmp_path):
    """A FLAC header under a clip's name may promise 68 billion samples; none are made room for."""
    clip = put(tmp_path)
    (wav,) = tmp_path.glob("audio/*/*.wav")
    promise = (48_000 << 44) | (23 << 36) | (2**36 - 1)
    wav.write_bytes(b"fLaC\x80\x00\x00\x22\x10\x00\x10\x00" + bytes(6) + promise.to_bytes(8) + bytes(16))

    assert ClipStore(tmp_path).by_hash(clip.sha256) is None
    put(tmp_path)
    assert ClipStore(tmp_path).by_hash(clip.sha256) is not None


def test_a_wrong_rate_in_the_header_is_mended(tmp_path):
    """The hash covers the samples; the rate is compared as well, and a put writes the file anew."""
    clip = put(tmp_path)
    (wav,) = tmp_path.glob("audio/*/*.wav")
    content = wav.read_bytes()
    assert content[24:28] == (48_000).to_bytes(4, "little")
    wav.write_bytes(content[:24] + (44_100).to_bytes(4, "little") + content[28:])

    assert ClipStore(tmp_path).get(KEY) is None
    put(tmp_path)
    assert ClipStore(tmp_path).get(KEY).sample_rate == clip.sample_rate == 48_000


def test_what_is_in_use_is_not_pruned(tmp_path):
    """Clips that one store gave out stay while another prunes, be they the oldest or dated in the future."""
    clips = [a_clip(seed) for seed in range(12)]
    keys = [recipe_key({"n": n}) for n in range(12)]
    for key, clip in zip(keys, clips, strict=True):
        put(tmp_path, key, clip)
    user = ClipStore(tmp_path)
    used = [user.get(keys[0]), user.by_hash(clips[1].sha256)]
    for path in tmp_path.glob("*/*/*"):
        os.utime(path, (0, 0) if path.stem not in keys[5:] else (2**33, 2**33))
    with ClipStore(tmp_path, max_bytes=1) as other:
        other.put(OTHER, a_clip(20))

    assert all(clip is not None for clip in used)
    assert user.by_hash(clips[0].sha256) is not None
    assert user.by_hash(clips[1].sha256) is not None
    assert user.get(keys[0]) is not None
    assert all(user.by_hash(clip.sha256) is None for clip in clips[2:])
    user.close()
    with ClipStore(tmp_path, max_bytes=1) as other:
        other.put(OTHER, a_clip(21))
    assert ClipStore(tmp_path).by_hash(clips[0].sha256) is None


def test_a_future_time_says_nothing_about_use(tmp_path):
    """What a wrong clock dated in the future goes first, not last."""
    for n in range(4):
        put(tmp_path, recipe_key({"n": n}), a_clip(n))
    future = [
        path for path in tmp_path.glob("*/*/*") if path.stem in (recipe_key({"n": 0}), a_clip(0).sha256[7:])
    ]
    for path in future:
        os.utime(path, (time.time() + 10**7,) * 2)
    with ClipStore(tmp_path, max_bytes=32_000) as store:
        store.put(OTHER, a_clip(9))

    left = ClipStore(tmp_path)
    assert left.by_hash(a_clip(0).sha256) is None
    assert left.by_hash(a_clip(3).sha256) is not None


def test_a_lease_dies_with_its_process(tmp_path):
    """While a process that holds a clip lives, it is kept; killed, it is not, and its lease is swept."""
    clip = put(tmp_path)
    code = (
        "import sys, pathlib\n"
        "from cuelane.audio.store import ClipStore\n"
        "store = ClipStore(pathlib.Path(sys.argv[1]))\n"
        "print(store.get(sys.argv[2]).sha256, flush=True)\n"
        "sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path), KEY],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as user:
        assert user.stdout.readline().strip() == clip.sha256
        with ClipStore(tmp_path, max_bytes=1) as other:
            other.put(OTHER, a_clip(2))
        assert ClipStore(tmp_path).by_hash(clip.sha256) is not None
        user.kill()
        user.wait()
        user.stdin.close()
        user.stdout.close()
    with ClipStore(tmp_path, max_bytes=1) as other:
        other.put(OTHER, a_clip(3))

    assert ClipStore(tmp_path).by_hash(clip.sha256) is None
    assert list(tmp_path.glob("leases/*.txt")) == []


def test_a_full_disk_and_a_closed_folder_are_told_apart(tmp_path, monkeypatch):
    """Space is asked for only where space is missing."""
    import errno

    from cuelane.audio import store as clipstore

    for code, words in ((errno.ENOSPC, "free some space"), (errno.EACCES, "who may write there")):

        def fail(*_, code=code):
            raise OSError(code, os.strerror(code))

        monkeypatch.setattr(clipstore, "write_whole", fail)
        with pytest.raises(DeliveryError, match=words):
            ClipStore(tmp_path).put(KEY, a_clip())


@posix
def test_only_ordinary_files_of_a_bounded_size_are_read(tmp_path):
    """A pipe, a device, a folder, a NUL and a file too large are refused, each in words, without waiting."""
    fifo, big = tmp_path / "fifo", tmp_path / "big"
    os.mkfifo(fifo)
    holes(big)
    for path, words in (
        (fifo, "not an ordinary file"),
        (tmp_path, "is a folder"),
        (big, "larger than 1 kB"),
        (tmp_path / "a\0b", "holds a NUL"),
    ):
        with pytest.raises(OddFileError, match=words):
            read_ordinary(path, 1_000)


@pytest.fixture
def full_folder(tmp_path, small_plan, store_folder):
    """A store of one's own that has the small session's clips, taken from that of the run."""
    prepare(small_plan, store=ClipStore(store_folder))
    # Other processes of the run are writing there: what has no name yet is theirs.
    others = shutil.ignore_patterns("leases", "store.lock", "*.tmp")
    return shutil.copytree(store_folder, tmp_path / "store", ignore=others)


def test_a_clip_taken_away_during_a_render_is_spoken_again(full_folder, small_plan):
    """A store emptied under a running render costs time, not the render; and the note says what changed."""
    store = ClipStore(full_folder)
    prepared = prepare(small_plan, store=store)
    sha256 = next(event.clip for event in prepared.schedule.events if event.clip)
    (wav,) = full_folder.rglob(f"{sha256[7:]}.wav")
    wav.unlink()
    load = clip_loader(store, lambda name: spoken_again(name, prepared.voiced, store=store))

    assert content_hash(load(sha256)) == sha256
    wav.unlink()
    with pytest.raises(DeliveryError, match="taken out of the store"):
        clip_loader(store)(sha256)


def test_two_threads_that_miss_a_clip_have_it_spoken_once(tmp_path, monkeypatch):
    """The second to miss it waits while the first has it made, and then finds it in the store."""
    store, clip, made = ClipStore(tmp_path), a_clip(), []
    both_missed, here, by_hash = threading.Barrier(2), threading.local(), store.by_hash

    def missed_together(sha256: str) -> Clip | None:
        if hasattr(here, "missed"):
            return by_hash(sha256)
        here.missed = True
        found = by_hash(sha256)
        both_missed.wait(60)
        return found

    def again(sha256: str) -> Clip:
        made.append(sha256)
        store.put(KEY, clip)
        return clip

    monkeypatch.setattr(store, "by_hash", missed_together)
    load = clip_loader(store, again)
    with ThreadPoolExecutor(2) as pool:
        sounds = list(pool.map(load, [clip.sha256] * 2))

    assert made == [clip.sha256]
    assert all(np.array_equal(sound, clip.samples) for sound in sounds)


def test_rendering_again_mends_a_store_without_notes(tmp_path, full_folder, small_plan):
    """All notes beside the audio gone: the next render has all its clips."""
    store = ClipStore(full_folder)
    for note in full_folder.glob("audio/*/*.json"):
        note.unlink()

    rendered = render(small_plan, tmp_path / "a.wav", RenderOptions(extras=False), store=store)
    used = {event.clip for event in rendered.prepared.schedule.events if event.clip}
    assert used
    assert all(store.by_hash(sha256).text for sha256 in used)
