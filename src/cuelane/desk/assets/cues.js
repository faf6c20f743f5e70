// The cues of the timetable: to a fixed place by mouse or by keys, pinned, heavier, lighter, or out.
import { announce, closest, decimal, named, w } from "./page.js";

const STEP_MS = 100;
const LEAP_MS = 1000;
const SETTLE_MS = 500; // So long after the last press a place that was reached by keys is written down.

export const durationOf = (ms) => `${Math.max(0, Math.round(ms / 100) / 10)}s`;

export function laneWidths() {
  for (const mark of document.querySelectorAll("[data-left]")) {
    mark.style.setProperty("left", `${mark.dataset.left}%`);
    mark.style.setProperty("width", `${mark.dataset.width}%`);
  }
  for (const piece of document.querySelectorAll("[data-settle]")) piece.style.setProperty("--settle", `${piece.dataset.settle}%`);
}

const textOf = (cue) => cue.querySelector(".text").textContent;
const markOf = (cue) => document.getElementById(cue.id.replace(/^c/, "m"));

// `wish(place, key, value, what)` and `drop(place, what)` change the plan; `open(place)` goes to its field.
export function wireCues({ wish, drop, open }) {
  let held = null;

  function place(cue, ms) {
    const name = cue.dataset.line;
    return wish(name, "at", durationOf(ms), named(w("hear.moved", { s: decimal(ms / 1000) }), textOf(cue)));
  }

  function settle() {
    if (!held) return;
    const { cue, now, timer } = held;
    clearTimeout(timer);
    held = null;
    place(cue, now);
  }

  function nudge(cue, by) {
    if (held && held.cue !== cue) settle();
    const length = Number(cue.dataset.length);
    const from = held ? held.now : Number(cue.dataset.into);
    const now = Math.min(length, Math.max(0, Math.round((from + by) / STEP_MS) * STEP_MS));
    clearTimeout(held?.timer);
    held = { cue, now, timer: setTimeout(settle, SETTLE_MS) };
    const said = decimal(now / 1000);
    cue.querySelector(".when").textContent = said;
    markOf(cue)?.style.setProperty("left", `${(100 * now) / length}%`);
    announce(w("hear.moved", { s: said }));
  }

  function drag(mark, event) {
    const lane = mark.parentElement.getBoundingClientRect();
    const length = Number(mark.dataset.length);
    const start = event.clientX;
    const into = Number(mark.dataset.into);
    let now = into;
    mark.setPointerCapture(event.pointerId);
    mark.onpointermove = (move) => {
      now = Math.min(length, Math.max(0, into + ((move.clientX - start) / lane.width) * length));
      mark.style.setProperty("left", `${(100 * now) / length}%`);
    };
    mark.onpointerup = () => {
      mark.onpointermove = mark.onpointerup = null;
      const cue = document.getElementById(mark.id.replace(/^m/, "c"));
      if (Math.abs(now - into) >= STEP_MS) place(cue, now);
    };
  }

  const acts = {
    must: (name, value, called) => wish(name, "must", value === "true", called),
    free: (name, value, called) => wish(name, "at", null, called),
    weigh: (name, value, called) => wish(name, "weight", Number(value), called),
    silence: (name, value, called) => drop(name, called),
    edit: (name) => open(name),
  };

  document.addEventListener("click", (event) => {
    const button = closest(event.target, "button[data-act]");
    if (!button) return;
    const cue = button.closest(".cue");
    if (button.dataset.act === "nudge") nudge(cue, Number(button.dataset.value));
    else acts[button.dataset.act](button.dataset.at || cue.dataset.line, button.dataset.value, named(button.textContent, textOf(cue)));
  });
  document.addEventListener("keydown", (event) => {
    const cue = event.target.matches("summary") && closest(event.target, ".cue[data-line]");
    const way = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!cue || !way || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    nudge(cue, way * (event.shiftKey ? LEAP_MS : STEP_MS));
  });
  document.addEventListener("focusout", (event) => {
    if (held && closest(event.target, ".cue") === held.cue && !held.cue.contains(event.relatedTarget)) settle();
  });
  addEventListener("pagehide", settle);
  document.addEventListener("pointerdown", (event) => {
    const mark = closest(event.target, ".mark[data-line]");
    if (mark) drag(mark, event);
  });
}
