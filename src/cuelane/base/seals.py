"""How a file shows that cuelane wrote it, byte for byte as it is now.

Such a file may be replaced by the next run; any other is somebody's work. There are two ways, and either is
enough: a seal inside, which is the digest of all the rest of the file, or a list in a sealed file beside it,
by name, under the key ``files``; should that file be gone, the page of the set lists the others too. A mark
without a digest would not do: it stays when a person edits the file.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import stat
from collections.abc import Mapping
from pathlib import Path

from cuelane.base.ordinary import open_ordinary, read_ordinary

_SIGN = "cuelane-seal:"
BLANK_SEAL = _SIGN + "0" * 64
"""The placeholder for a seal in a file that is not sealed yet, of the same length as a seal."""

MAX_SEALED_BYTES = 128_000_000
_SEAL = re.compile(re.escape(_SIGN.encode()) + rb"([0-9a-f]{64})")
_ANY_SIZE = 1 << 62
_LIST_IN_PAGE = re.compile(rb"<!-- cuelane-files (\{[^<>-]*\}) -->")


def digest_of(path: Path) -> str:
    """Return ``sha256:`` and the digest of an ordinary file's content. Raises OSError if it is none."""
    with open_ordinary(path, _ANY_SIZE) as file:
        return "sha256:" + hashlib.file_digest(file, "sha256").hexdigest()


def digest_of_text(text: str) -> str:
    """Return what :func:`digest_of` gives of a file that holds `text` as UTF-8."""
    return "sha256:" + hashlib.sha256(text.encode("utf-8")).hexdigest()


def digest_if_there(path: Path) -> str | None:
    """Return :func:`digest_of`, or None where there is nothing. Raises OSError if it is no ordinary file."""
    try:
        return digest_of(path)
    except FileNotFoundError:
        return None


def sealable_json(text: str) -> str:
    """Return the text of a JSON object with a place for a seal as its last key."""
    body = text.rstrip().removesuffix("}").rstrip()
    comma = "" if body.endswith("{") else ","
    return f'{body}{comma}\n "seal": "{BLANK_SEAL}"}}\n'


def json_with(text: str, key: str, value: object) -> str:
    """Return the text of a JSON object with one more key, all the rest as it was written."""
    body = text.rstrip().removesuffix("}").rstrip()
    return f"{body},\n {json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}}}\n"


def sealable_html(text: str) -> str:
    """Return an HTML page with a place for a seal, a comment after all else."""
    return f"{text.rstrip()}\n<!-- {BLANK_SEAL} -->\n"


def html_with_files(text: str, files: Mapping[str, str]) -> str:
    """Return a sealable page that lists its set too: ``sha256:`` and digest of each file, by name."""
    listed = json.dumps(files)
    for sign in "<>-":
        # A comment ends at two hyphens; the JSON text has these signs in its strings only.
        listed = listed.replace(sign, f"\\u{ord(sign):04x}")
    return sealable_html(f"{text.rstrip()}\n<!-- cuelane-files {listed} -->")


def sealed(content: bytes) -> bytes:
    """Return `content` with its last blank seal filled in; content without one as it is."""
    head, blank, tail = content.rpartition(BLANK_SEAL.encode())
    if not blank:
        return content
    return head + _SIGN.encode() + hashlib.sha256(content).hexdigest().encode() + tail


def is_sealed(path: Path) -> bool:
    """Tell whether the file holds a seal that fits all the rest of it."""
    try:
        return _fits(read_ordinary(path, MAX_SEALED_BYTES))
    except OSError:
        return False


def _fits(content: bytes) -> bool:
    for found in list(_SEAL.finditer(content))[-2:]:
        blank = content[: found.start()] + BLANK_SEAL.encode() + content[found.end() :]
        if hashlib.sha256(blank).hexdigest().encode() == found[1]:
            return True
    return False


def listed_files(path: Path, most_bytes: int = 64_000_000) -> dict[str, str]:
    """Return the digests by name that the JSON file at `path` lists under ``files``, if it does.

    An entry is the digest, or an object that has it as ``sha256``.
    """
    try:
        data = json.loads(read_ordinary(path, most_bytes))
        rows = {
            name: entry.get("sha256") if isinstance(entry, dict) else entry
            for name, entry in data.get("files", {}).items()
        }
        return {name: digest for name, digest in rows.items() if isinstance(digest, str)}
    except (OSError, ValueError, AttributeError, RecursionError):
        return {}


def files_in_page(path: Path) -> dict[str, str]:
    """Return the digests by name that the page at `path` lists, if nobody has changed it."""
    try:
        content = read_ordinary(path, MAX_SEALED_BYTES)
    except OSError:
        return {}
    found = _LIST_IN_PAGE.findall(content)
    # Ours is the last, and sealed as it was written; but anybody can seal a page with no list of ours in it.
    try:
        return json.loads(found[-1]) if found and _fits(content) else {}
    except (ValueError, RecursionError):
        return {}


def is_ours(path: Path, listed: str | None) -> bool:
    """Tell whether cuelane wrote the file as it is; `listed` is the digest that a file beside it lists."""
    try:
        return (listed is not None and digest_of(path) == listed) or is_sealed(path)
    except OSError:
        return False


def status_of(path: Path) -> os.stat_result | None:
    """Return what lies at `path`, links not followed, or None. OSError: it cannot be known."""
    try:
        return path.lstat()
    except (FileNotFoundError, NotADirectoryError):
        return None


def is_file(status: os.stat_result) -> bool:
    """Tell whether it is an ordinary file, neither folder, link, pipe nor device."""
    return stat.S_ISREG(status.st_mode)


def names_of(listed: Mapping[str, str]) -> list[str]:
    """Return the names in a list that stay inside its folder."""
    return [name for name in listed if is_inside(name)]


def is_inside(name: str) -> bool:
    """Tell whether a relative name, with ``/`` between its parts, stays inside its folder on every system."""
    parts = name.split("/")
    return bool(name) and all(part not in ("", ".", "..") and not set(part) & set("\\:\0") for part in parts)
