"""Clips that machines share: fetched whole or not, given by whoever spoke, and never needed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from cuelane.audio.clip import Clip, content_hash, quantise24
from cuelane.audio.store import ClipStore, recipe_key
from cuelane.batch.far_clips import SharedClips
from cuelane.batch.run import orders_of, run_batch
from cuelane.batch.tracks import Asked, tracks
from dask_clusters import local_cluster
from test_batch import write

KEY = recipe_key({"text": "Sit down."})


def a_clip() -> Clip:
    samples = quantise24(np.random.default_rng(3).uniform(-0.5, 0.5, 2_400))
    return Clip("Sit down.", "noise", 48_000, samples, content_hash(samples), (("Sit", 0, 900),), "quiet")


def same(one: Clip | None, other: Clip) -> bool:
    return one is not None and vars(one) | {"samples": 0} == vars(other) | {"samples": 0}


def test_what_one_spoke_the_other_fetches_and_keeps(tmp_path: Path) -> None:
    """With all that is known of it; a store of the same layout can be shared as it is."""
    place, clip = (tmp_path / "shared").as_uri(), a_clip()
    with SharedClips(place, tmp_path / "a") as one, SharedClips(place, tmp_path / "b") as other:
        assert other.get(KEY) is None
        one.put(KEY, clip)
        note = other.note(KEY)
        assert note is not None
        assert (note.text, note.sha256) == ("Sit down.", clip.sha256)
        assert same(other.get(KEY), clip)
        assert (one.n_given, other.n_fetched, one.trouble, other.trouble) == (1, 1, "", "")
    with ClipStore(tmp_path / "b") as alone, ClipStore(tmp_path / "shared") as as_a_store:
        assert same(alone.get(KEY), clip)
        assert same(as_a_store.get(KEY), clip)


def cut(content: bytes) -> bytes:
    return content[: len(content) // 2]


def turned(content: bytes) -> bytes:
    return content[:-9] + bytes([content[-9] ^ 1]) + content[-8:]


@pytest.mark.parametrize("damage", [cut, turned, lambda content: b""])
@pytest.mark.parametrize("kind", ["audio/*/*.wav", "recipes/*/*.json"])
def test_what_is_damaged_there_is_not_taken_and_is_mended(
    tmp_path: Path, kind: str, damage: Callable[[bytes], bytes]
) -> None:
    """Half a file, one bit, nothing: absent, and replaced by whoever speaks the line then."""
    place, clip = (tmp_path / "shared").as_uri(), a_clip()
    with SharedClips(place, tmp_path / "a") as one, SharedClips(place, tmp_path / "b") as other:
        one.put(KEY, clip)
        (path,) = (tmp_path / "shared").glob(kind)
        path.write_bytes(damage(path.read_bytes()))
        assert other.get(KEY) is None
        assert other.trouble == ""
        assert not list((tmp_path / "b").rglob("*.wav"))
        other.put(KEY, clip)
    with SharedClips(place, tmp_path / "c") as third:
        assert same(third.get(KEY), clip)


def test_a_place_that_fails_is_told_and_done_without(tmp_path: Path) -> None:
    """The clip is kept here; the place is asked once and no more."""
    (tmp_path / "file").write_bytes(b"")
    with SharedClips((tmp_path / "file" / "x").as_uri(), tmp_path / "a") as store:
        store.put(KEY, a_clip())
        assert store.trouble.startswith("the clips were not shared: ")
        assert same(store.get(KEY), a_clip())
    with SharedClips("nowhere-such://x", tmp_path / "a") as store:
        assert "nowhere-such" in store.trouble
        assert store.get(KEY) is not None


def test_workers_of_a_cluster_share_what_they_speak(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With a store of its own for each run: the second speaks nothing, and its track is the same bytes."""
    plan = write(tmp_path, "one")
    found = tracks([plan], None, Asked(formats=("wav",), variants=("plain",)))
    shared = tmp_path / "shared"
    written: list[dict[str, int]] = []
    for name in ("a", "b"):
        monkeypatch.setenv("CUELANE_CACHE", str(tmp_path / f"store-{name}"))
        (tmp_path / name).mkdir()
        with local_cluster() as cluster:
            orders = orders_of(found, tmp_path / name, {}, force=False, clips=shared.as_uri())
            ends = run_batch(
                orders, cluster=cluster.scheduler_address, workers=1, progress=lambda done, total: None
            )
        assert [(one.state, one.message) for one in ends] == [("made", "")]
        written.append({str(path): path.stat().st_mtime_ns for path in shared.rglob("*.json")})
    assert written[0]
    assert written[1] == written[0]
    assert {path.name for path in (tmp_path / "store-a").rglob("*.wav")} == {
        path.name for path in shared.rglob("*.wav")
    }
    assert not list(shared.rglob(".part-*"))
    for path in (tmp_path / "a").glob("one.*"):
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes(), path.name
