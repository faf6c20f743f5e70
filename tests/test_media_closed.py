"""The bundled program reads only the file it is handed: nothing that it points to is opened."""

# ruff: noqa: E501 (lines of hostile files read best unbroken)

from __future__ import annotations

import contextlib
import http.server
import struct
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from cuelane import media
from cuelane.base.errors import AudioFileError
from cuelane.media import ffmpeg
from cuelane.media.attached_picture import cover_png

CANARY_HZ = 1_000.0


class _Listener(http.server.BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        self.send_response(404)
        self.end_headers()

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture(scope="module")
def listener() -> Iterator[tuple[int, list[object]]]:
    """A server on this machine, and the connections it has seen."""
    seen: list[object] = []

    class Server(http.server.ThreadingHTTPServer):
        def verify_request(self, request: object, client_address: object) -> bool:
            seen.append(client_address)
            return True

    server = Server(("127.0.0.1", 0), _Listener)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield server.server_port, seen
    server.shutdown()
    thread.join()
    server.server_close()


def box(name: bytes, *parts: bytes) -> bytes:
    """An ISO base media box (ISO/IEC 14496-12, section 4.2)."""
    body = b"".join(parts)
    return struct.pack(">I4s", 8 + len(body), name) + body


def full(name: bytes, *parts: bytes, flags: int = 0) -> bytes:
    return box(name, struct.pack(">I", flags), *parts)


def mov_with_sound_elsewhere(target: str, n_frames: int = 48_000) -> bytes:
    """A QuickTime film of one second of 16-bit mono whose samples lie in the file at `target`.

    Its data reference is an alias record with absolute and relative paths (QuickTime File Format, "Data
    reference atoms"; the alias's layout from memory), and a url entry after it.
    """
    path = target.encode()
    alias = struct.pack(">IHH", 0, 0, 2) + b"\0" * 122 + struct.pack(">HH", 1, 1) + b"\0" * 16
    for kind in (18, 2, 0):
        alias += struct.pack(">HH", kind, len(path)) + path + b"\0" * (len(path) % 2)
    alias += struct.pack(">HH", 0xFFFF, 0)
    references = full(b"dref", struct.pack(">I", 2), full(b"alis", alias), full(b"url ", path + b"\0"))
    sound = box(b"sowt", b"\0" * 6, struct.pack(">HHHIHHHHI", 1, 0, 0, 0, 1, 16, 0, 0, 48_000 << 16))
    table = box(
        b"stbl",
        full(b"stsd", struct.pack(">I", 1), sound),
        full(b"stts", struct.pack(">III", 1, n_frames, 1)),
        full(b"stsc", struct.pack(">IIII", 1, 1, n_frames, 1)),
        full(b"stsz", struct.pack(">II", 2, n_frames)),
        full(b"stco", struct.pack(">II", 1, 44)),
    )
    media_box = box(
        b"mdia",
        full(b"mdhd", struct.pack(">IIIIHH", 0, 0, 48_000, n_frames, 0, 0)),
        full(b"hdlr", b"mhlrsoun" + b"\0" * 13),
        box(b"minf", full(b"smhd", b"\0" * 4), box(b"dinf", references), table),
    )
    matrix = struct.pack(">9I", 1 << 16, 0, 0, 0, 1 << 16, 0, 0, 0, 1 << 30)
    track = full(
        b"tkhd", struct.pack(">IIIII", 0, 0, 1, 0, 48_000), b"\0" * 8 + b"\0" * 8, matrix, b"\0" * 8, flags=7
    )
    head = full(
        b"mvhd",
        struct.pack(">IIIIIH", 0, 0, 48_000, n_frames, 1 << 16, 256),
        b"\0" * 10,
        matrix,
        b"\0" * 24,
        struct.pack(">I", 2),
    )
    return box(b"ftyp", b"qt  ", b"\0" * 4, b"qt  ") + box(b"moov", head, box(b"trak", track, media_box))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, listener: tuple[int, list[object]]) -> Path:
    """A canary that is real sound, and hostile files that point to it and to the listener."""
    made = tmp_path_factory.mktemp("hostile")
    tone = 0.5 * np.sin(2 * np.pi * CANARY_HZ * np.arange(96_000) / 48_000)
    canary = made / "canary.wav"
    soundfile.write(canary, tone, 48_000)
    soundfile.write(made / "pic001.wav", tone, 48_000)
    url = f"http://127.0.0.1:{listener[0]}/x.wav"
    here = canary.as_posix()
    texts = {
        "list": f"#EXTM3U\n#EXT-X-TARGETDURATION:2\n#EXTINF:2,\n{here}\n#EXTINF:2,\n{url}\n#EXT-X-ENDLIST\n",
        "keyed": f'#EXTM3U\n#EXT-X-KEY:METHOD=AES-128,URI="{url}"\n#EXT-X-MAP:URI="{here}"\n#EXTINF:2,\n{here}\n',
        "cat": f"ffconcat version 1.0\nfile '{here}'\nfile '{url}'\n",
        "sdp": f"v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\nm=audio {listener[0]} RTP/AVP 0\n",
        "dash": f"<?xml version='1.0'?><MPD xmlns='urn:mpeg:dash:schema:mpd:2011' type='static'><Period><AdaptationSet mimeType='audio/wav'><Representation id='1'><BaseURL>{url}</BaseURL></Representation></AdaptationSet></Period></MPD>",
        "smil": f"<smil><body><audio src='{url}'/></body></smil>",
        "ssa": f"[Script Info]\nAudio File: {here}\n[Events]\nDialogue: 0,0:00:00.00,0:00:02.00,,,0,0,0,,x\n",
        "vobsub": "# VobSub index file, v7 (do not modify this line!)\ntimestamp: 00:00:00:000, filepos: 000000000\n",
        "meta": ";FFMETADATA1\ntitle=x\n",
        "ref": f"[Reference]\nRef1={url}\n",
    }
    endings = {
        "list": ("m3u8", "m3u", "mp3", "wav"), "keyed": ("m3u8", "m4a"), "cat": ("ffconcat", "txt", "mp3"),
        "sdp": ("sdp", "wav"), "dash": ("mpd", "m4a"), "smil": ("smil",), "ssa": ("ass", "mp3"),
        "vobsub": ("idx",), "meta": ("txt",), "ref": ("asf", "wma"),
    }  # fmt: skip
    for name, text in texts.items():
        for ending in endings[name]:
            (made / f"{name}.{ending}").write_text(text, encoding="utf-8")
    for name, target in (("beside.mov", "canary.wav"), ("absolute.mov", here), ("net.mov", url)):
        (made / name).write_bytes(mov_with_sound_elsewhere(target))
    (made / "pic%03d.wav").write_bytes(texts["list"].encode())
    # A playlist behind real bytes of sound's head.
    (made / "id3.mp3").write_bytes(b"ID3\x04\0\0\0\0\0\0" + texts["list"].encode())
    (made / "riff.wav").write_bytes(b"RIFF\xff\xff\xff\xffWAVE" + texts["cat"].encode())
    return made


def test_nothing_that_is_pointed_to_is_opened(
    folder: Path, listener: tuple[int, list[object]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Playlists, concat lists, SDP, subtitles, patterns and films with their sound elsewhere give no sound."""
    monkeypatch.chdir(folder)
    hostile = sorted(path for path in folder.iterdir() if path.name not in ("canary.wav", "pic001.wav"))
    assert len(hostile) > 20
    for path in hostile:
        heard = []
        for ask in (media.probe, cover_png):
            with contextlib.suppress(AudioFileError):
                ask(Path(path.name))
        with contextlib.suppress(AudioFileError):
            heard = list(media.decode(Path(path.name)))
        assert not any(block.any() for block in heard), path.name
    assert listener[1] == []


def test_names_that_mean_something_elsewhere_are_only_names(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A name that is a protocol, a pattern or an option reads the file of that name, and no other."""
    media.encode(tmp_path / "real.m4a", [np.full((24_000, 1), 0.25, np.float32)], sample_rate=48_000)
    monkeypatch.chdir(tmp_path)
    for name in (
        "concat:a|b.mp3",
        "http:x.mp3",
        "fd:",
        "pipe:0",
        "-i.mp3",
        "%03d.mp3",
        "data:,x",
        "subfile,,:x",
    ):
        with contextlib.suppress(OSError):
            Path(name).write_bytes((tmp_path / "real.m4a").read_bytes())
            assert media.probe(name).codec == "aac"
            assert sum(map(len, media.decode(name))) == 24_000


def test_the_program_may_open_nothing_by_name(folder: Path) -> None:
    """What it is started with lets it read one open file; even the real canary's name is refused."""
    with ffmpeg.input_file(folder / "canary.wav") as (options, file):
        if file is None:
            pytest.skip("on Windows the program is given a file's name")
        assert options[:2] == ["-protocol_whitelist", "fd"]
        named = [*ffmpeg.quiet(), *options[:-1], f"file:{folder / 'canary.wav'}", "-f", "null", "-"]
        with ffmpeg.running(named, feed=False) as (process, said):
            code = process.wait()
        assert code != 0
        assert "not on whitelist" in " ".join(said.lines())


def test_the_hostile_film_would_be_heard_if_references_were_followed(folder: Path) -> None:
    """The film is not harmless by being broken: told to follow references, the program plays the canary."""
    follow = ["-enable_drefs", "1", "-use_absolute_path", "1", "-i", str(folder / "beside.mov")]
    with ffmpeg.running([*ffmpeg.quiet(), *follow, "-f", "s16le", "pipe:1"], feed=False) as (process, said):
        assert process.stdout is not None
        heard = np.frombuffer(process.stdout.read(), "<i2")
        process.wait()
    assert len(heard) == 48_000, said.lines()
    assert abs(int(heard.max()) - 16_384) < 10
