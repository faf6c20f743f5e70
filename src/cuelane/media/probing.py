"""What a media file says of itself, and signs that it is cut short or will be read late."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from cuelane.base.errors import AudioFileError
from cuelane.media import ffmpeg
from cuelane.media.container_bytes import has_gapless_info, sign_of_damage
from cuelane.media.reader import MAX_CHANNELS, magic, require_file

_STREAM = re.compile(r"^  Stream #0:\d+[^:]*: (Audio|Video): (\S+?)(?: |,|$)(.*)$")
_INPUT = re.compile(r"^Input #0, ([^ ]+?), from ")
_DURATION = re.compile(r"^  Duration: (\d+):(\d\d):(\d\d\.\d+)")
_NAMED_LAYOUTS = {"mono": 1, "stereo": 2, "downmix": 2, "quad": 4, "hexagonal": 6, "octagonal": 8, "cube": 8}


@dataclass(frozen=True)
class Chapter:
    """A titled stretch of a file; integer milliseconds from the first sample that is played."""

    start_ms: int
    end_ms: int
    title: str


@dataclass(frozen=True)
class MediaInfo:
    """What a file says of itself.

    ``duration_s`` is exact for WAV and FLAC, to 10 ms or so for the rest, and None where the file does not
    say. ``has_gapless_info`` is False where nothing tells the encoder's delay, so that every reader plays
    the sound late (MP3 without a LAME tag: by 1105 samples and more). ``damage`` is a line that says how the
    file is cut short, as far as its structure shows without decoding.
    """

    n_channels: int
    sample_rate: int
    duration_s: float | None
    codec: str
    container: str
    chapters: tuple[Chapter, ...]
    tags: dict[str, str]
    has_video: bool
    has_gapless_info: bool
    damage: str | None = None


def probe(path: Path | str) -> MediaInfo:
    """Return what `path` says of itself, without decoding it.

    Tag names are in lower case. Chapters come in order of time.

    Raises
    ------
    AudioFileError : missing, not audio or video, or no sound in it.
    """
    path = Path(path)
    require_file(path)
    # Without -copyts ffmpeg moves chapters by the first packet's time, which for MP3 is the encoder's delay.
    command = [*ffmpeg.quiet(loglevel="info"), "-copyts", *ffmpeg.input_file(path)]
    # One packet has to be copied for the stream's own tags, which is where Ogg keeps all of them.
    command += ["-map", "0:a:0", "-c", "copy", "-frames:a", "1", "-f", "ffmetadata", "pipe:1"]
    try:
        done = subprocess.run(
            command, stdin=subprocess.DEVNULL, capture_output=True, timeout=120, check=False
        )
    except subprocess.TimeoutExpired as error:
        raise AudioFileError(f"{path}: its header could not be read within two minutes") from error
    said = done.stderr.decode("utf-8", "replace").splitlines()
    container = next((found[1] for line in said if (found := _INPUT.match(line))), None)
    if container is None:
        raise AudioFileError(f"{path}: not an audio or video file that can be read, or too damaged to be")
    head = said[: next((i for i, line in enumerate(said) if line.startswith("Output #0")), len(said))]
    streams = [found for line in head if (found := _STREAM.match(line))]
    audio = next((found for found in streams if found[1] == "Audio"), None)
    if audio is None:
        raise AudioFileError(f"{path}: holds no sound")
    sample_rate, n_channels = _shape(audio[3])
    if not 1 <= n_channels <= MAX_CHANNELS or sample_rate <= 0:
        raise AudioFileError(
            f"{path}: has {n_channels} channels at {sample_rate} Hz; at most {MAX_CHANNELS} can be read"
        )
    tags, chapters = parse_ffmetadata(done.stdout.decode("utf-8", "replace"))
    duration = next((found for line in head if (found := _DURATION.match(line))), None)
    duration_s = (
        int(duration[1]) * 3600 + int(duration[2]) * 60 + float(duration[3]) if duration is not None else None
    )
    if magic(path) is not None:
        duration_s = _exact_duration(path) or duration_s
    return MediaInfo(
        n_channels=n_channels,
        sample_rate=sample_rate,
        duration_s=duration_s,
        codec=audio[2],
        container=container,
        chapters=tuple(chapters),
        tags=tags,
        has_video=any(found[1] == "Video" and "(attached pic)" not in found[3] for found in streams),
        has_gapless_info=has_gapless_info(path, container, audio[2]),
        damage=sign_of_damage(path),
    )


def _shape(description: str) -> tuple[int, int]:
    """Return (sample_rate, n_channels) from ``..., 44100 Hz, 5.1(side), fltp, ...``."""
    found = re.search(r"(\d+) Hz, ([^,]+)", description)
    if found is None:
        return 0, 0
    layout = re.sub(r"\(.*", "", found[2]).strip()
    if layout in _NAMED_LAYOUTS:
        return int(found[1]), _NAMED_LAYOUTS[layout]
    if counted := re.match(r"(\d+) channels", layout):
        return int(found[1]), int(counted[1])
    if re.fullmatch(r"[\d.]+", layout):
        return int(found[1]), sum(int(part) for part in layout.split(".") if part)
    return int(found[1]), 1


def _exact_duration(path: Path) -> float | None:
    import soundfile

    try:
        return float(soundfile.info(str(path)).duration)
    except soundfile.SoundFileError:
        return None


def _logical_lines(text: str) -> Iterator[str]:
    """Yield ffmetadata's lines with escaped line ends joined; escapes are kept."""
    line = ""
    for part in text.split("\n"):
        line += part
        # An odd number of backslashes at the end escapes the line end itself.
        if (len(line) - len(line.rstrip("\\"))) % 2:
            line += "\n"
        else:
            yield line
            line = ""


def _unescape(text: str) -> str:
    return re.sub(r"\\(.)", r"\1", text, flags=re.DOTALL)


def parse_ffmetadata(text: str) -> tuple[dict[str, str], list[Chapter]]:
    """Return (tags, chapters) from ffmpeg's metadata text; a file's own tags go before its stream's."""
    tags: dict[str, str] = {}
    stream_tags: dict[str, str] = {}
    chapters: list[dict[str, str]] = []
    current = tags
    for line in _logical_lines(text):
        if line in ("[CHAPTER]", "[STREAM]"):
            current = stream_tags
            if line == "[CHAPTER]":
                current = {}
                chapters.append(current)
            continue
        if line.startswith(";") or not (found := re.match(r"((?:[^\\=]|\\.)*)=(.*)", line, re.DOTALL)):
            continue
        key = _unescape(found[1])
        current[key if current in chapters else key.lower()] = _unescape(found[2])
    made = [_chapter(row) for row in chapters]
    return {**stream_tags, **tags}, sorted(made, key=lambda chapter: (chapter.start_ms, chapter.end_ms))


def _chapter(row: dict[str, str]) -> Chapter:
    base = Fraction(row.get("TIMEBASE", "1/1000")) * 1000
    start, end = (round(int(row.get(key, "0")) * base) for key in ("START", "END"))
    return Chapter(start, end, row.get("title", ""))
