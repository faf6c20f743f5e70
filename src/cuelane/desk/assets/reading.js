// A whole reading: recorded in one go or brought as a file, listened to by the desk, kept line by line.
import { announce, at, named, send, tell, trouble, w } from "./page.js";
import { fileZone } from "./drop.js";
import { upload } from "./microphone.js";

const LOOK_MS = 700;

// `changed` hears when the microphone begins to take a reading down, and when it ends; the answer tells whether it does.
// `busy` tells whether it takes something else down.
export function wireReading({ plan, mic, openMic, voice, accept, hearFrom, changed, busy }) {
  const api = `/api/booth/${plan}/reading`;
  const told = (text) => tell(at("whole-state"), text);
  let recording = false;
  let sending = false;
  addEventListener("beforeunload", (event) => (recording || sending) && event.preventDefault());

  function bar(part) {
    const box = at("whole-progress");
    box.hidden = part === null;
    if (part > 0) box.value = part;
    else box.removeAttribute("value");
  }

  async function bring(file) {
    at("report").hidden = true;
    told(w("booth.sending"));
    bar(0);
    sending = true;
    const answer = await upload(`/api/reading/${plan}`, file, (part) => bar(part));
    sending = false;
    if (answer.status === 200) return look();
    bar(null);
    told(answer.body?.error || w("top.offline"));
  }

  async function look() {
    const answer = await send(api, null);
    if (answer.status !== 200) return;
    const found = answer.body;
    const runs = found.state === "running";
    at("whole-stop").hidden = !runs;
    if (runs) {
      bar(found.total ? found.done / found.total : 0);
      told(found.what === "listening" ? w("booth.listening", { n: found.done, all: found.total }) : w("booth.reading"));
      setTimeout(look, LOOK_MS);
      return;
    }
    bar(null);
    if (found.state === "failed") told(found.error);
    else if (found.state === "done") showReport(found);
    else told("");
  }

  function showReport(found) {
    const count = (state) => found.lines.filter((line) => line.state === state).length;
    told(w("booth.found", { placed: count("placed"), uncertain: count("uncertain"), missing: count("missing") }));
    at("report-notes").replaceChildren(...found.notes.map((note) => made("li", { lang: "en" }, note)));
    at("report-lines").replaceChildren(...found.lines.map(rowOf));
    at("report").hidden = false;
  }

  function rowOf(line) {
    const row = made("li", {});
    const id = `take-${line.key}`;
    const box = made("input", { type: "checkbox", id, value: line.key });
    box.checked = line.state === "placed";
    box.disabled = !line.has_clip;
    const label = made("label", { for: id, dir: "auto", lang: at("line-text").lang }, line.text);
    const hear = made("button", { type: "button", "aria-label": named(w("booth.hear"), line.text) }, w("booth.hear"));
    hear.disabled = !line.has_clip;
    hear.addEventListener("click", () => hearFrom(`/reading/${plan}/${line.key}.wav`));
    const why = made("p", { class: "why" }, w(`booth.${line.state}`));
    for (const note of line.notes) why.append("; ", made("span", { lang: "en" }, note));
    row.append(box, label, hear, why);
    return row;
  }

  function made(name, attributes, text = "") {
    const node = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    node.textContent = text;
    return node;
  }

  async function settle(body, focus) {
    const answer = await send(api, { ...body, voice: voice() });
    if (answer.status !== 200) return answer.body && trouble(answer.body.error);
    accept(answer.body);
    at("report").hidden = true;
    const text = answer.body.kept === undefined ? "" : w("booth.kept_lines", { n: answer.body.kept });
    told(text);
    if (text) announce(text);
    at(focus).focus();
    look();
  }

  at("whole-record").addEventListener("click", async () => {
    const button = at("whole-record");
    if (recording) {
      [recording, sending] = [false, true];
      button.textContent = w("booth.whole_record");
      changed();
      return bring(await mic.stop());
    }
    if (!(await openMic(at("mic").value)) || recording || busy()) return;
    recording = true;
    changed();
    await mic.start(true);
    button.textContent = w("booth.stop");
    told(w("booth.whole_runs"));
  });
  at("whole-stop").addEventListener("click", () => settle({}, "whole-record"));
  at("report-drop").addEventListener("click", () => settle({}, "whole-record"));
  at("report-keep").addEventListener("click", () =>
    settle({ keys: [...document.querySelectorAll("#report-lines input:checked")].map((box) => box.value) }, "record"),
  );
  fileZone(at("whole"), at("whole-file"), bring);
  document.addEventListener("reworded", () => (recording ? told(w("booth.whole_runs")) : look()));
  look();
  return { runs: () => recording };
}
