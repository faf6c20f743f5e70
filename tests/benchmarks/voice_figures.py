"""Write what ``bench_voices.py`` found into the voices' definitions, and the README's table from those.

Run by hand: ``python tests/benchmarks/voice_figures.py FOLDER``, with the folder of the campaign. A result of
fewer cues than a definition has replaces nothing.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from cuelane.base.files import all_or_nothing
from cuelane.speech.voices import readable_voices

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "kit"))
from voice_table import HEAD, voice_table  # noqa: E402

BEGIN = "# By tests/benchmarks/bench_voices.py"
NOTE = f"{BEGIN} on a busy machine with two cores; models judged, nobody listened."
SPEEDS = ("cpu_s_per_s", "cached_cpu_s_per_s", "times_natural")
MOST_WEAK = 20


def measured_table(found: dict[str, Any], before: dict[str, Any]) -> str:
    """Return the table ``[measured]`` of a result; what it does not hold about speed stays as it was."""
    speeds = {key: found.get(key, before.get(key)) for key in SPEEDS}
    figures = {"n_cues": found["n_cues"], "words_per_min": found["words_per_min"]}
    figures |= {key: value for key, value in speeds.items() if value is not None}
    lines = [NOTE, "[measured]", *(f"{key} = {value}" for key, value in figures.items())]
    lines.append(f"dnsmos = {found['dnsmos']:.2f}")
    lines += [f"{key} = {found[key]:.3f}" for key in ("recall", "character_match")]
    weakest = [cue for cue in found["weakest"] if len(cue) <= 200][:MOST_WEAK]
    listed = [f"  {json.dumps(cue, ensure_ascii=False)}," for cue in weakest]
    return "\n".join([*lines, "weakest = [", *listed, "]\n"])


def write(path: Path, text: str) -> None:
    with all_or_nothing(path, force=True) as staged:
        staged.path_for(path).write_text(text, encoding="utf-8")


def main() -> None:
    folder = Path(sys.argv[1])
    for voice in readable_voices()[0]:
        path = folder / f"{voice.name}.json"
        if not path.is_file():
            continue
        found = json.loads(path.read_text(encoding="utf-8"))
        measured = voice.settings.measured
        before = {} if measured is None else measured.model_dump()
        if found["n_cues"] < before.get("n_cues", 0):
            print(f"{voice.name}: fewer cues than before; left as it is")
            continue
        rest = voice.source.read_text(encoding="utf-8").split(BEGIN)[0].rstrip()
        write(voice.source, f"{rest}\n\n{measured_table(found, before)}")
        print(f"{voice.name}: {found['n_cues']} cues")
    readme = ROOT / "README.md"
    lines = readme.read_text(encoding="utf-8").split("\n")
    start = lines.index(HEAD[0])
    end = next(at for at in range(start, len(lines)) if not lines[at].startswith("|"))
    write(readme, "\n".join([*lines[:start], *voice_table(readable_voices()[0]), *lines[end:]]))


if __name__ == "__main__":
    main()
