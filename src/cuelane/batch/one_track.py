"""The process that makes tracks: it reads orders, and answers each with what became of it."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
import traceback
from dataclasses import asdict, replace
from pathlib import Path

from cuelane.audio.store import ClipStore
from cuelane.base.errors import CuelaneError
from cuelane.base.files import all_or_nothing
from cuelane.base.schedule import to_json as schedule_json
from cuelane.base.seals import sealable_json
from cuelane.base.units import to_ms
from cuelane.batch import records
from cuelane.batch.far_clips import SharedClips
from cuelane.batch.far_folder import FarFolder, is_address, is_there
from cuelane.batch.jobs_made import MACHINE_FAILED, Order, Outcome, State, variant_of
from cuelane.batch.makers import requests
from cuelane.render.run import Prepared, RenderOptions, deliver, prepare

OTHER_SESSION = (
    "{} beside it was made from another version of the plan, or with other options; the captions and the "
    "page are this track's now: make that one again in the same way, or in a folder of its own"
)


def child() -> None:
    """Carry out each order on standard input; write the outcome to standard output, a line each."""
    # Whatever else is printed goes where errors go.
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    # Now, before anybody can put another version of the program in its place.
    records.program_digest()
    for request in requests():
        outcome = made(Order(**json.loads(request)))
        answers.write(json.dumps(outcome.to_dict()) + "\n")
        answers.flush()


def made(order: Order) -> Outcome:
    """Make a track unless it lies there as it would be made now; every error is told in the outcome."""
    try:
        return _made(order)
    except CuelaneError as error:
        return Outcome(order.name, "failed", error.exit_code, str(error))
    except OSError as error:
        where = f"{error.filename}: " if isinstance(error.filename, str) else ""
        return Outcome(order.name, "failed", MACHINE_FAILED, f"{where}{error.strerror or error}")
    except Exception as error:
        # Whatever nobody foresaw: the others go on.
        last = traceback.format_exception_only(error)[-1].strip()[:300]
        return Outcome(order.name, "failed", MACHINE_FAILED, f"an unexpected error: {last}")


def _made(order: Order) -> Outcome:
    if not is_address(order.out):
        return _made_in(order, None)
    far = FarFolder.at(order.out)
    with tempfile.TemporaryDirectory(prefix="cuelane-") as home:
        return _made_in(replace(order, out=home), far)


def _made_in(order: Order, far: FarFolder | None) -> Outcome:
    """Make a track in the folder of results here, or make it here and put it into that `far` away."""
    shared = SharedClips(order.clips) if order.clips is not None else None
    store, out = shared or ClipStore(), order.track
    options = RenderOptions(variant=variant_of(order.variant), **order.options)
    out.parent.mkdir(parents=True, exist_ok=True)
    notes: list[str] = []
    prepared = prepare(
        Path(order.plan), variant=options.variant, voice=options.voice, pace=options.pace, store=store
    )
    schedule = prepared.schedule
    length_ms = to_ms(schedule.n_frames, schedule.sample_rate)
    inputs = records.inputs_of(prepared.loaded)
    # Digests before the mix: what is changed meanwhile makes the next run do it again.
    read = records.digests(inputs, prepared.loaded.folder)
    basis = basis_of(prepared, order)
    before = far.record(order.record_name) if far is not None else records.read_record(order.record)
    if before is not None and before.basis == basis and is_there(order, before, far):
        outputs = before.outputs
        state: State = "kept"
        files: tuple[str, ...] = ()
    else:
        # One encoder: the other cores make other tracks.
        done = deliver(prepared, out, options, store=store, force=order.force, n_encoders=1)
        outputs = records.outputs_of(out)
        state, files = "made", tuple(path.name for path in done.files)
        notes += [OTHER_SESSION.format(name) for name in records.of_other_sessions(out)]
    notes += [shared.trouble] if shared is not None and shared.trouble else []
    named = options.voice is not None or prepared.loaded.names_voice
    plan = prepared.loaded.plan
    record = records.Record(
        records.program_digest(),
        order.options_text(),
        read,
        basis,
        outputs,
        length_ms,
        [] if named else [plan.language, plan.voice],
    )
    if far is None:
        write_record(order, record)
    elif state == "made":
        far.deliver(out.parent, order.prefix, order.record_name, record, force=order.force)
    else:
        far.renew(order.record_name, record)
    return Outcome(order.name, state, 0, "\n".join(notes), files, length_ms)


def basis_of(prepared: Prepared, order: Order) -> str:
    """Return the digest of all that decides about a track's files."""
    plan = prepared.loaded.plan
    told = {
        "program": records.program_digest(),
        "schedule": schedule_json(prepared.schedule),
        "name": order.track.name,
        "options": {key: value for key, value in order.options.items() if key != "voice"},
        "tags": [plan.author, plan.title, str(plan.date)],
        "misfits": len(prepared.advice),
    }
    return "sha256:" + hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()


def write_record(order: Order, record: records.Record) -> None:
    """Put the record in place of the one before."""
    path = order.record
    path.parent.mkdir(exist_ok=True)
    with all_or_nothing(path, force=True) as staged:
        staged.write_text(path, sealable_json(json.dumps(asdict(record))))
