"""Blocks of samples to a file a phone plays, with chapters, tags and cover.

WAV and FLAC are written by libsndfile as 24-bit PCM, at most 65,536 frames a call. AAC, MP3 and Opus are
made by the ffmpeg program, which writes to a seekable file: through a pipe the tags that tell players the
encoder's delay would be lost. Every file is made under a temporary name beside its target.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from cuelane.base.errors import DeliveryError, SignalError, UsageError
from cuelane.media import ffmpeg, tagging
from cuelane.media.formats import LossyCoding, TagStyle, format_of
from cuelane.media.id3 import id3_tag
from cuelane.media.probing import Chapter
from cuelane.media.reader import Block, all_finite

WRITE_FRAMES = 65_536
MAX_RIFF_BYTES = 0xFFFF_FFFF - 65_536
FULL_SCALE_24 = 8_388_608.0


def encode(
    path: Path | str,
    blocks: Iterable[npt.NDArray[np.floating]],
    *,
    sample_rate: int,
    n_channels: int = 1,
    n_frames: int | None = None,
    bitrate_kbps: int | None = None,
    chapters: Sequence[Chapter] = (),
    tags: Mapping[str, str] | None = None,
    cover_png: bytes | None = None,
) -> int:
    """Write `blocks` to `path` in the format of its suffix; return the number of frames written.

    ``.m4a`` is AAC (96 kb/s a channel unless `bitrate_kbps` says otherwise), ``.mp3`` MP3 (96), ``.opus``
    Opus (48), ``.flac`` and ``.wav`` 24-bit PCM. The first sample a player outputs is the first sample given.

    Parameters
    ----------
    blocks : arrays of shape (n, n_channels), finite, full scale 1.0.
    n_frames : how many frames will come, if known; a WAV that would pass 4 GiB is then written as RF64.
    chapters : in order, at most 255; right to the millisecond (WAV holds none: see
        `cuelane.deliver.marks`). Long titles are cut: to 94 bytes in MP3, 255 in M4A.
    tags : any of title, artist, album, date, comment.
    cover_png : a PNG picture, for all but WAV.

    Raises
    ------
    UsageError : a suffix or sample rate that no encoder takes.
    DeliveryError : the encoder or the disk failed; nothing is left behind and an old file is untouched.
    SignalError : a block of the wrong shape or not finite, chapters out of order, or a wrong `n_frames`.
    """
    path = Path(path)
    form = format_of(path)
    coding = form.coding
    rows = tagging.checked_tags(tags or {})
    marks = tagging.checked_chapters(chapters)
    if cover_png is not None and not cover_png.startswith(b"\x89PNG\r\n\x1a\n"):
        raise SignalError("cover_png must hold a PNG picture")
    if isinstance(coding, LossyCoding) and sample_rate not in coding.sample_rates:
        rates = ", ".join(str(rate) for rate in sorted(coding.sample_rates))
        raise UsageError(f"{path}: {form.suffix} cannot hold {sample_rate} Hz; use one of {rates}")
    count = _Counted(blocks, n_channels)
    with _workspace(path) as folder:
        made = folder / f"sound{form.suffix}"
        try:
            if isinstance(coding, LossyCoding):
                kbps = bitrate_kbps or coding.bitrate_kbps * n_channels
                options = _metadata_options(folder, form.tags, rows, marks, cover_png)
                _write_lossy(made, count, coding, sample_rate, kbps, options)
            else:
                inside = rows if form.tags is TagStyle.RIFF else {}
                _write_pcm(made, count, coding.container, sample_rate, n_frames, inside)
            if form.tags is TagStyle.ID3:
                made = _joined(folder / "tagged.mp3", id3_tag(rows, marks, cover_png), made)
            elif form.tags is TagStyle.FLAC:
                made = _tag_flac(made, folder, rows, marks, cover_png)
            if n_frames is not None and count.n_frames != n_frames:
                raise SignalError(f"expected {n_frames} frames to write, got {count.n_frames}")
            with made.open("r+b") as file:
                os.fsync(file.fileno())
            made.replace(path)
        except OSError as error:
            raise DeliveryError(f"{path}: cannot be written: {error.strerror or error}") from error
    return count.n_frames


@contextlib.contextmanager
def _workspace(path: Path) -> Iterator[Path]:
    """Give a folder beside `path` (so that a rename is atomic), removed at the end with all it holds."""
    try:
        folder = tempfile.TemporaryDirectory(prefix=f".{path.stem[:40]}-", suffix=".partial", dir=path.parent)
    except OSError as error:
        raise DeliveryError(f"{path}: cannot write in its folder: {error.strerror or error}") from error
    with folder as name:
        yield Path(name)


class _Counted:
    """Passes blocks on, checked and contiguous, and counts their frames."""

    def __init__(self, blocks: Iterable[npt.NDArray[np.floating]], n_channels: int) -> None:
        self._blocks = blocks
        self.n_channels = n_channels
        self.n_frames = 0

    def __iter__(self) -> Iterator[Block]:
        for block in self._blocks:
            if block.ndim != 2 or block.shape[1] != self.n_channels:
                raise SignalError(f"expected blocks of shape (n, {self.n_channels}), got {block.shape}")
            if not all_finite(block):
                raise SignalError("expected finite samples")
            self.n_frames += len(block)
            yield np.ascontiguousarray(block, dtype=np.float32)


def _write_pcm(
    path: Path,
    blocks: _Counted,
    container: str,
    sample_rate: int,
    n_frames: int | None,
    rows: Mapping[str, str],
) -> None:
    import soundfile

    n_channels = blocks.n_channels
    expected_bytes = (n_frames or 0) * n_channels * 3
    if container == "WAV" and expected_bytes > MAX_RIFF_BYTES:
        container = "RF64"
    try:
        with soundfile.SoundFile(
            path, "w", samplerate=sample_rate, channels=n_channels, format=container, subtype="PCM_24"
        ) as file:
            for name, value in rows.items():
                setattr(file, name, tagging.clean(value))
            for block in blocks:
                # libsndfile scales floats by 2**23 - 1; whole numbers keep the 24-bit grid exactly.
                for start in range(0, len(block), WRITE_FRAMES):
                    file.write(to_pcm24(block[start : start + WRITE_FRAMES]))
                if container == "WAV" and blocks.n_frames * n_channels * 3 > MAX_RIFF_BYTES:
                    raise SignalError("a WAV over 4 GiB needs n_frames, so that it can be written as RF64")
    except soundfile.SoundFileError as error:
        raise DeliveryError(f"{path.name}: cannot be written: {error}") from error


def to_pcm24(block: Block) -> npt.NDArray[np.int32]:
    """Return `block` as 24-bit values, nearest and clipped, in the upper bits of int32."""
    if not block.any():
        return np.zeros(block.shape, dtype=np.int32)
    whole = np.rint(block.astype(np.float64) * FULL_SCALE_24)
    return np.clip(whole, -FULL_SCALE_24, FULL_SCALE_24 - 1).astype(np.int32) << 8


def _tag_flac(
    made: Path,
    folder: Path,
    rows: Mapping[str, str],
    chapters: Sequence[Chapter],
    cover_png: bytes | None,
) -> Path:
    """Return a copy of `made`, its frames untouched, with Vorbis comments and a picture block."""
    if not rows and not chapters and cover_png is None:
        return made
    text = folder / "metadata.txt"
    text.write_text(tagging.vorbis_ffmetadata(rows, chapters, None), encoding="utf-8", newline="\n")
    tagged = folder / "tagged.flac"
    command = [*ffmpeg.quiet(), "-i", f"file:{made}", "-f", "ffmetadata", "-i", f"file:{text}"]
    command += _cover(folder, cover_png, 2)
    command += ["-map", "0:a", "-map_metadata", "1", "-map_chapters", "-1", "-c", "copy"]
    command += ["-bitexact", "-f", "flac", f"file:{tagged}"]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, check=False)
    if done.returncode != 0:
        said = done.stderr.decode("utf-8", "replace").strip().splitlines()
        raise DeliveryError(f"tags cannot be written to FLAC: {said[-1] if said else 'no reason given'}")
    return tagged


def _cover(folder: Path, cover_png: bytes | None, index: int) -> list[str]:
    """Return the options that attach a cover picture as input number `index`."""
    if cover_png is None:
        return []
    picture = folder / "cover.png"
    picture.write_bytes(cover_png)
    return [
        *["-f", "png_pipe", "-i", f"file:{picture}", "-map", f"{index}:v", "-c:v", "copy"],
        *["-disposition:v:0", "attached_pic", "-metadata:s:v", "comment=Cover (front)"],
    ]


def _joined(path: Path, head: bytes, body: Path) -> Path:
    with path.open("wb") as file, body.open("rb") as rest:
        file.write(head)
        shutil.copyfileobj(rest, file, 1 << 20)
    return path


def _metadata_options(
    folder: Path,
    style: TagStyle,
    rows: Mapping[str, str],
    chapters: Sequence[Chapter],
    cover_png: bytes | None,
) -> list[str]:
    """Return the options by which ffmpeg writes tags, chapters and cover; MP3 gets its tag from us."""
    if style is TagStyle.ID3:
        return ["-map", "0:a", "-map_metadata", "-1"]
    text = folder / "metadata.txt"
    options = ["-f", "ffmetadata", "-i", f"file:{text}"]
    if style is TagStyle.OGG:
        text.write_text(tagging.vorbis_ffmetadata(rows, chapters, cover_png), encoding="utf-8", newline="\n")
        options += ["-map", "0:a", "-map_metadata", "-1", "-map_metadata:s:a:0", "1:g"]
        return [*options, "-map_chapters", "-1"]
    text.write_text(tagging.global_ffmetadata(rows, chapters), encoding="utf-8", newline="\n")
    options += _cover(folder, cover_png, 2)
    return [*options, "-map", "0:a", "-map_metadata", "1", "-map_chapters", "1"]


def _write_lossy(
    path: Path, blocks: _Counted, coding: LossyCoding, sample_rate: int, bitrate_kbps: int, options: list[str]
) -> None:
    command = [
        *ffmpeg.quiet(),
        *["-f", "f32le", "-ar", str(sample_rate), "-ac", str(blocks.n_channels), "-i", "pipe:0"],
        *options,
    ]
    command += ["-c:a", coding.encoder, "-b:a", f"{bitrate_kbps}k", *coding.options]
    command += ["-bitexact", "-f", coding.muxer, f"file:{path}"]
    with ffmpeg.running(command, feed=True) as (process, said):
        assert process.stdin is not None
        ffmpeg.enlarge_pipe(process.stdin)
        broken = False
        gain = np.float32(coding.makeup_gain(bitrate_kbps))
        for block in blocks:
            try:
                _send(process.stdin.fileno(), block if gain == 1 else block * gain)
            except OSError:
                # The encoder has ended; what it said tells why. (Windows gives EINVAL, not a broken pipe.)
                broken = True
                break
        process.stdin.close()
        code = process.wait()
        lines = said.lines()
    if broken or code != 0:
        raise DeliveryError(
            f"the {coding.encoder} encoder failed: {lines[-1] if lines else f'status {code}'}"
        )


def _send(pipe: int, block: Block) -> None:
    data = np.ascontiguousarray(block, dtype="<f4").ravel().view(np.uint8).data
    while data:
        data = data[os.write(pipe, data) :]
