"""Running the ffmpeg program that imageio-ffmpeg's wheel carries: always reaped, stderr always drained."""

from __future__ import annotations

import contextlib
import functools
import hashlib
import os
import re
import shutil
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Iterator
from pathlib import Path
from typing import IO

import imageio_ffmpeg

from cuelane.base.errors import DeliveryError

if sys.platform == "linux":
    import fcntl

# A demuxer outside this list could be made to open other files (playlists, concat lists) or devices.
DEMUXERS = (
    "aac,ac3,aiff,amr,ape,asf,au,avi,caf,dts,eac3,flac,flv,matroska,webm,mov,mp4,m4a,3gp,3g2,mj2,mp3,"
    "mpeg,mpegts,mpegvideo,ogg,tta,w64,wav,wv"
)
_ADDRESS = re.compile(r"^(\[[^\]]*@ 0x[0-9a-f]+\]\s*)+")
DECODER_NICENESS = 5
_KEPT_LINES = 40
_KEPT_BYTES = 64 * 1024

_n_fed = 0
"""How many processes are being fed at this moment."""

_counting = threading.Lock()


@functools.cache
def program() -> str:
    """Return the ffmpeg program's path. Raises DeliveryError if this platform's wheel carries none."""
    try:
        return str(imageio_ffmpeg.get_ffmpeg_exe())
    except RuntimeError as error:
        raise DeliveryError(
            f"no ffmpeg program: {error}; reinstall the package imageio-ffmpeg, whose wheels carry one"
        ) from error


@functools.cache
def build() -> str:
    """Return a digest that tells this build of the program from others: by all that it says of itself, and
    its size.

    It says its version, its compiler, its options and the versions of its libraries. Raises DeliveryError if
    it cannot be run.
    """
    path = program()
    try:
        command = [path, "-version"]
        said = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, check=True).stdout
        n_bytes = Path(shutil.which(path) or path).stat().st_size
    except (OSError, subprocess.SubprocessError) as error:
        raise DeliveryError(f"cannot start the ffmpeg program: {error}") from error
    return hashlib.sha256(b"%d " % n_bytes + said).hexdigest()


def quiet(*, loglevel: str = "error") -> list[str]:
    return [program(), "-hide_banner", "-nostdin", "-nostats", "-loglevel", loglevel]


@contextlib.contextmanager
def input_file(path: Path) -> Iterator[tuple[list[str], IO[bytes] | None]]:
    """Give the options that open `path`, and the open file to be given as standard input with them.

    The program is handed one open file and may open no other, so that neither a name nor content can make it
    read something else. On Windows, where it may translate line ends on standard input, it is given the name
    of a plain local file instead.
    """
    only = ["-format_whitelist", DEMUXERS]
    if os.name == "nt":
        yield ["-protocol_whitelist", "file", *only, "-i", f"file:{path}"], None
        return
    with path.open("rb") as file:
        yield ["-protocol_whitelist", "fd", *only, "-i", "fd:"], file


@functools.cache
def reads_in_a_filter() -> bool:
    """Return whether :func:`sound_of_stdin` gives what :func:`input_file` does.

    Release 9 does, bit for bit, for all that our tests hold to it; release 7 ends ADPCM after one packet.
    """
    release = re.match(r"n?(\d+)\.", imageio_ffmpeg.get_ffmpeg_version())
    return release is not None and int(release[1]) >= 9


def sound_of_stdin(packet_frames: int) -> list[str]:
    """Return the options that decode the first sound of the file given as standard input.

    A filter opens the file and decodes it in one thread. In the usual way each packet of 1024 samples passes
    through five threads, which took two thirds of the time: 2.4 s for 45 minutes of AAC against 0.7. The name
    of standard input needs no quoting for a filter, and nothing but that one file can be opened. One thread
    only, since ALAC crashed with more.
    """
    opened = f"format_opts='protocol_whitelist=fd\\:format_whitelist={DEMUXERS}'"
    source = f"amovie=filename='fd\\:':streams='a\\:0':dec_threads=1:{opened}"
    return ["-f", "lavfi", "-i", f"{source},asetnsamples=n={packet_frames}:p=0"]


class Stderr:
    """Drains a process's stderr in a thread; keeps its last lines, bounded however much is said."""

    def __init__(self, stream: IO[bytes]) -> None:
        self._lines: deque[str] = deque(maxlen=_KEPT_LINES)
        self._thread = threading.Thread(target=self._drain, args=(stream,), daemon=True)
        self._thread.start()

    def _drain(self, stream: IO[bytes]) -> None:
        with contextlib.suppress(ValueError, OSError):
            while line := stream.readline(_KEPT_BYTES):
                text = _ADDRESS.sub("", line.decode("utf-8", "replace").strip())
                if text:
                    self._lines.append(text[:300])

    def lines(self) -> list[str]:
        """Return what was said, oldest first. Call after the process has ended."""
        self._thread.join(timeout=5)
        return list(self._lines)


def _let_others_first(decoder: subprocess.Popen[bytes]) -> None:
    """Lower the priority of a decoder that works ahead of an encoder, where that is possible.

    45 minutes with music, mixed into AAC on two cores, took 26.1 s at equal priority and 25.3 s so, three
    runs of each. On Linux this is the priority of one thread, which the threads that it starts later inherit.
    """
    with contextlib.suppress(AttributeError, OSError):
        own = os.getpriority(os.PRIO_PROCESS, 0)
        os.setpriority(os.PRIO_PROCESS, decoder.pid, own + DECODER_NICENESS)


@contextlib.contextmanager
def running(
    command: list[str], *, feed: bool, source: IO[bytes] | None = None
) -> Iterator[tuple[subprocess.Popen[bytes], Stderr]]:
    """Run `command` with pipes; at exit, however it comes, the process is ended and reaped.

    A process that is not fed may be given an open file as its standard input. Its priority is lowered if a
    process that is fed is running.
    """
    global _n_fed
    try:
        process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE if feed else source or subprocess.DEVNULL,
            stdout=subprocess.DEVNULL if feed else subprocess.PIPE,
            stderr=subprocess.PIPE,
            bufsize=0,
        )
    except OSError as error:
        raise DeliveryError(f"cannot start the ffmpeg program: {error}") from error
    if not feed and _n_fed:
        _let_others_first(process)
    assert process.stderr is not None
    said = Stderr(process.stderr)
    if feed:
        with _counting:
            _n_fed += 1
    try:
        yield process, said
    finally:
        if feed:
            with _counting:
                _n_fed -= 1
        if process.poll() is None:
            process.kill()
        for stream in (process.stdin, process.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()
        process.wait()
        said.lines()
        process.stderr.close()


def enlarge_pipe(stream: IO[bytes], n_bytes: int = 1 << 20) -> None:
    """Ask for a larger pipe buffer, so that neither side waits for the other; where that is possible."""
    if sys.platform == "linux":
        with contextlib.suppress(OSError):
            fcntl.fcntl(stream.fileno(), fcntl.F_SETPIPE_SZ, n_bytes)
