"""Adapt three whole classes, render each at other work and rest, check it, and write its timetable.

python tests/campaigns/campaign_retimed.py FOLDER        write FOLDER/retimed-1.txt to -3.txt and the tracks
"""

from __future__ import annotations

import sys
from pathlib import Path

import soundfile

sys.path.insert(0, str(Path(__file__).parents[1] / "kit"))

from classgen_captions import as_vtt, captions
from classgen_scripts import WHOLE, ClassScript, speak_script
from classgen_speech import SAMPLE_RATE, formant_voice, natural, prepare_formant
from cuelane.adapt.adapt_options import AdaptOptions
from cuelane.adapt.run import adapt_recording
from cuelane.audio.store import ClipStore
from cuelane.base.schedule import load_schedule
from cuelane.check.run import check
from cuelane.render.run import RenderOptions, render
from cuelane.session.timetable import timetable

VOICES = ("natural", "en-us+f3", "en-gb")
TIMES = (("30s", "15s"), ("45s", "15s"))


def lines_of(script: ClassScript) -> list[str]:
    """Return every line of a script."""
    rows = [script.before, *script.sets, *script.rests, script.after]
    return [text.rpartition("|")[2] for row in rows for text in row]


def retimed(number: int, folder: Path) -> bool:
    script, voice = WHOLE[number], VOICES[number]
    speak = natural if voice == "natural" else formant_voice(voice)
    if voice != "natural":
        prepare_formant(lines_of(script), voice)
    made = speak_script(script, speak, seed=number + 1)
    home = folder / f"class-{number + 1}"
    home.mkdir(parents=True, exist_ok=True)
    recording, text = home / f"{script.title}.wav", home / "class.vtt"
    soundfile.write(recording, made.samples, SAMPLE_RATE, subtype="PCM_16")
    text.write_text(as_vtt(captions(made, number, late_s=1.0, wrong=0.0)), encoding="utf-8")
    adapted = adapt_recording(recording, home / "out", AdaptOptions(text, timing="exact"), force=True)
    fine = adapted.patterns is not None
    shown = [
        f"{script.title}, spoken by {voice}: {len(adapted.analysis.cues)} lines, {sum(adapted.kept)} kept",
        "",
    ]
    shown += [
        (home / "out" / name).read_text(encoding="utf-8")
        for name in ("decisions.txt", "report.md", "patterns.yaml")
    ]
    for work, rest in TIMES:
        plan = home / "out" / f"patterns-{work}-{rest}.yaml"
        was = (home / "out" / "patterns.yaml").read_text(encoding="utf-8")
        changed = was.replace("work: 40s", f"work: {work}", 1).replace("rest: 20s", f"rest: {rest}", 1)
        plan.write_text(changed, encoding="utf-8")
        track = home / f"{script.title} {work} {rest}.wav"
        result = render(plan, track, RenderOptions(extras=False))
        verdict = check(track, load_schedule(track.with_suffix(".schedule.json")), store=ClipStore())
        fine &= verdict.ok
        shown += [f"==== {work} of work, {rest} of rest; check passed: {verdict.ok}", ""]
        shown.append(timetable(result.prepared.schedule, width=110))
    (folder / f"retimed-{number + 1}.txt").write_text("\n".join(shown) + "\n", encoding="utf-8")
    print(f"{script.title}: {'passed' if fine else 'WANTING'}")
    return fine


def main() -> None:
    folder = Path(sys.argv[1])
    chosen = [int(one) for one in sys.argv[2:]] or list(range(len(WHOLE)))
    fine = [retimed(number, folder) for number in chosen]
    if not all(fine):
        raise SystemExit(1)


if __name__ == "__main__":
    main()
