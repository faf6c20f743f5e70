// Recorded classes: brought in, listened to by the desk, decided on by ear.
import { announce, at, send, tell, trouble, w } from "./page.js";
import { dropZone, putInto } from "./drop.js";
import { upload } from "./microphone.js";

const LOOK_MS = 900;

function wireBring() {
  const told = (text) => tell(at("bring-state"), text);
  // Captions are told from recordings by their names, as in the field for each.
  dropZone(at("bring"), (files) => {
    const isWords = (file) => /\.(vtt|srt|txt)$/i.test(file.name);
    for (const [id, found] of [["class-captions", files.filter(isWords)], ["class-file", files.filter((file) => !isWords(file))]])
      if (found.length) putInto(at(id), found.slice(0, 1));
    at("bring-form").querySelector("button").focus();
  });
  // A recording that is there already is not sent again where only what came after it went wrong.
  let there = { file: null, name: "" };
  at("bring-form").addEventListener("submit", async (event) => {
    event.preventDefault();
    const file = at("class-file").files[0];
    if (!file) return;
    const bar = at("bring-progress");
    const button = event.target.querySelector("button");
    bar.hidden = false;
    button.disabled = true;
    told(w("booth.sending"));
    const fail = (answer) => {
      bar.hidden = true;
      button.disabled = false;
      told(answer.body?.error || w("top.offline"));
    };
    if (there.file !== file) {
      const brought = await upload(`/api/class/new?name=${encodeURIComponent(file.name)}`, file, (part) => (bar.value = part));
      if (brought.status !== 200) return fail(brought);
      there = { file, name: brought.body.name };
    }
    const name = encodeURIComponent(there.name);
    const captions = at("class-captions").files[0];
    if (captions) {
      const words = await upload(`/api/class-words/${name}`, captions);
      if (words.status !== 200) return fail(words);
    }
    const started = await send(`/api/class-run/${name}`, {});
    if (started.status !== 200) return fail(started);
    location.href = `/class/${name}`;
  });
}

function wireOne(box) {
  const name = encodeURIComponent(box.dataset.class);

  async function look() {
    const answer = await send(`/api/class-state/${name}`, null);
    if (answer.status !== 200) return;
    const { state, what, done, total, error, found } = answer.body;
    const runs = state === "running";
    at("class-stop").hidden = !runs;
    at("class-again").hidden = runs;
    const bar = at("class-progress");
    bar.hidden = !runs;
    if (runs) {
      const step = { "reading the recording": "reading", "placing words": "placing", "recognising words": "recognising" }[what] || "searching";
      at("class-step").textContent = w(`classes.step_${step}`);
      if (total > 1) {
        bar.max = total;
        bar.value = done;
      } else bar.removeAttribute("value");
      setTimeout(look, LOOK_MS);
    } else if (state === "done" && found) location.reload();
    else tell(at("class-step"), state === "failed" ? error : w("classes.not_yet"));
  }

  // The recording is decoded by the desk meanwhile; what was found can be read at once.
  async function lookAtTape() {
    const answer = await send(`/api/class-tape/${name}`, null);
    if (answer.status !== 200) return;
    const { state, error, seconds, of_seconds: length, picture } = answer.body;
    const bar = at("tape-progress");
    bar.hidden = state !== "running";
    for (const button of document.querySelectorAll(".hear")) button.setAttribute("aria-disabled", String(state !== "done"));
    const told = { running: w("classes.tape_comes"), waiting: error, failed: error, done: "" }[state];
    if (at("tape-state").textContent !== told) tell(at("tape-state"), told);
    if (state === "running") {
      if (length) bar.value = Math.min(1, seconds / length);
      else bar.removeAttribute("value");
    }
    if (picture) at("tape").innerHTML = picture;
    if (state === "running" || state === "waiting") setTimeout(lookAtTape, state === "running" ? 300 : LOOK_MS);
  }

  // What was decided on this page and is not yet in the class's own file.
  const boxes = () => [...document.querySelectorAll("[data-index]")].sort((a, b) => a.dataset.index - b.dataset.index);
  const undecided = () => boxes().some((one) => one.checked !== one.defaultChecked);
  const kept = () => boxes().map((one) => one.checked);
  addEventListener("beforeunload", (event) => undecided() && event.preventDefault());

  async function begin(path, body) {
    const answer = await send(`/api/${path}/${name}`, body);
    if (answer.status !== 200) return answer.body && trouble(answer.body.error);
    if (body.kept) boxes().forEach((one, n) => (one.defaultChecked = body.kept[n]));
    at("working").hidden = false;
    announce(w("classes.listening"));
    at("class-stop").hidden = false;
    at("class-stop").focus();
    look();
  }

  at("class-stop").addEventListener("click", async () => {
    await send(`/api/class-stop/${name}`, {});
    look();
    at("class-again").hidden = false;
    at("class-again").focus();
  });
  at("class-again").addEventListener("click", () => begin("class-run", {}));
  box.addEventListener("click", (event) => {
    const button = event.target.closest("[data-start]");
    if (!button || button.getAttribute("aria-disabled") === "true") return;
    at("audio").src = `/class-sound/${name}/${Math.max(0, button.dataset.start - 200)}-${Number(button.dataset.end) + 200}.wav`;
    at("audio").play().catch((error) => error.name !== "AbortError" && trouble(w("booth.not_heard")));
  });
  at("class-decide")?.addEventListener("click", () => begin("class-decide", { kept: kept() }));
  at("class-know")?.addEventListener("submit", (event) => {
    event.preventDefault();
    begin("class-run", {
      beep_at: at("know-beep").value,
      plan: at("know-plan").value,
      work: at("know-work").value,
      rest: at("know-rest").value,
      kept: undecided() ? kept() : null,
    });
  });
  const lookNow = box.dataset.found ? lookAtTape : look;
  document.addEventListener("reworded", () => lookNow());
  lookNow();
}

if (at("bring-form")) wireBring();
if (at("one")) wireOne(at("one"));
