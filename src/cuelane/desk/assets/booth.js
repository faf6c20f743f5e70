// The booth: one line at a time is counted in, recorded, judged by the desk, heard, and kept or read again.
import { announce, at, send, tell, trouble, w } from "./page.js";
import { fileZone } from "./drop.js";
import { Microphone, upload } from "./microphone.js";
import { wireReading } from "./reading.js";

const COUNT = 3;
const BEAT_MS = 700;
const LONGEST_MS = 60000;
const KEY_NOISE_S = 0.05;

const plan = encodeURIComponent(document.body.dataset.plan);
const api = `/api/booth/${plan}`;
const audio = at("audio");
let state = null;
let key = "";
let phase = "idle"; // idle, counting, recording, judging
let take = null; // {id, seconds, remarks} of the line that is shown
let began = 0;
let spoke = 0;
let turn = 0;
let reading = null;

const mic = new Microphone(showLevel);
// One microphone takes one thing down: a line, or a whole reading.
const busy = () => phase === "counting" || phase === "recording";
const line = () => state.lines.find((one) => one.key === key) || state.lines[0];
const voice = () => at("voice").value.trim();

function element(name, attributes = {}, text = "") {
  const made = document.createElement(name);
  for (const [attribute, value] of Object.entries(attributes)) made.setAttribute(attribute, value);
  if (text) made.textContent = text;
  return made;
}

// What is shown.
function accept(found) {
  state = found;
  if (!state.lines.some((one) => one.key === key)) key = (state.lines.find((one) => !one.mine) || state.lines[0]).key;
  showLines();
  showLine();
  const mine = state.lines.filter((one) => one.mine).length;
  at("part").textContent = w("booth.part", { n: mine, all: state.lines.length });
  at("progress").max = state.lines.length;
  at("progress").value = mine;
  at("offer").hidden = !mine || state.plan_voice === state.voice;
  at("offer-text").textContent = w("booth.offer", { now: state.plan_voice, voice: state.voice });
}

function showLines() {
  const list = at("lines");
  if (list.children.length !== state.lines.length || [...list.children].some((row, n) => row.dataset.key !== state.lines[n].key))
    list.replaceChildren(...state.lines.map(rowOf));
  state.lines.forEach((one, n) => {
    const row = list.children[n];
    row.classList.toggle("mine", one.mine);
    row.querySelector(".has").textContent = w(one.mine ? "booth.has" : "booth.has_not");
    const button = row.querySelector("button");
    if (one.key === key) button.setAttribute("aria-current", "true");
    else button.removeAttribute("aria-current");
  });
}

function rowOf(one) {
  const row = element("li", { "data-key": one.key });
  const button = element("button", { type: "button" });
  button.append(element("span", { class: "no" }, String(one.number)), element("span", { dir: "auto", lang: state.language }, one.text), element("span", { class: "has" }));
  button.addEventListener("click", () => choose(one.key));
  row.append(button);
  return row;
}

function showLine() {
  const now = line();
  at("line-title").textContent = w("booth.line", { n: now.number, all: state.lines.length, roles: now.roles });
  at("line-text").textContent = now.text;
  const tight = now.room_s > 0 && now.room_s < now.usual_s * 1.3;
  at("line-facts").textContent = now.room_s
    ? w(tight ? "booth.tight" : "booth.room", { room: now.room_s, usual: now.usual_s })
    : w("booth.no_room", { usual: now.usual_s });
  at("room-end").hidden = !now.room_s;
  at("room-end").style.setProperty("left", `${(100 * now.room_s) / span()}%`);
  showPhase();
}

// The seconds that the bar under the line stands for.
const span = () => Math.max(4, 1.5 * line().room_s, 2 * line().usual_s);

function showPhase() {
  const record = at("record");
  record.textContent = w(busy() ? "booth.stop" : take ? "booth.again" : "booth.record");
  record.dataset.now = busy() ? "stop" : "";
  record.disabled = phase === "judging" || Boolean(reading?.runs());
  at("whole-record").disabled = busy();
  at("hear").disabled = phase !== "idle" || !(take || line().mine);
  at("keep").disabled = phase !== "idle" || !take;
  at("back").hidden = !line().mine || Boolean(take);
  at("back").disabled = phase !== "idle";
  at("lamp").classList.toggle("live", phase === "recording");
  if (!busy()) at("count").textContent = "";
  if (!busy()) at("elapsed").style.setProperty("width", "0");
}

function choose(next) {
  if (busy()) stopNow();
  key = next;
  take = null;
  phase = "idle";
  turn++;
  at("verdict").replaceChildren();
  audio.pause();
  showLines();
  showLine();
  at("lines").querySelector("[aria-current]")?.scrollIntoView({ block: "nearest" });
}

function stepLine(by) {
  const n = state.lines.indexOf(line());
  choose(state.lines[(n + by + state.lines.length) % state.lines.length].key);
  announce(`${at("line-title").textContent}. ${line().text}`);
}

let peakHold = -60;
let wordAt = 0;
function showLevel(peak, rms) {
  peakHold = Math.max(peak, peakHold - 0.4);
  const across = (value) => `${Math.min(100, Math.max(0, ((value + 60) / 60) * 100))}%`;
  at("level-now").style.setProperty("width", across(rms));
  at("level-peak").style.setProperty("left", across(peakHold));
  at("level").classList.toggle("over", peakHold > -1);
  const now = performance.now();
  if (now - wordAt < 400) return;
  wordAt = now;
  at("level").setAttribute("aria-valuenow", String(Math.round(Math.max(-60, peakHold))));
  at("level-word").textContent = w(peakHold > -1 ? "booth.level_over" : peakHold < -35 ? "booth.level_low" : "booth.level_good");
}

// Recording.
async function openMic(deviceId = "") {
  try {
    await mic.open(deviceId);
  } catch (error) {
    const known = { NotAllowedError: "denied", NotFoundError: "missing", NotReadableError: "busy", NotSupportedError: "unsupported" };
    trouble(w(`booth.mic_${known[error.name] || "failed"}`));
    return false;
  }
  trouble("");
  at("mic-off").hidden = false;
  const devices = await mic.devices();
  at("choose-mic").hidden = devices.length < 2;
  at("mic").replaceChildren(...devices.map((one, n) => element("option", { value: one.deviceId }, one.label || `${n + 1}`)));
  at("mic").value = mic.deviceId;
  return true;
}

async function start() {
  audio.pause();
  const mine = ++turn;
  if (!(await openMic(at("mic").value)) || mine !== turn || reading.runs()) return;
  take = null;
  at("verdict").replaceChildren();
  phase = "counting";
  showPhase();
  announce(w("booth.ready"));
  began = await mic.start();
  for (let n = COUNT; n > 0; n--) {
    at("count").textContent = String(n);
    await new Promise((done) => setTimeout(done, BEAT_MS));
    if (mine !== turn || phase !== "counting") return;
  }
  spoke = performance.now();
  phase = "recording";
  showPhase();
  at("count").textContent = w("booth.speak_now");
  const run = () => {
    if (phase !== "recording" || mine !== turn) return;
    const seconds = (performance.now() - spoke) / 1000;
    at("elapsed").style.setProperty("width", `${Math.min(100, (100 * seconds) / span())}%`);
    if (seconds * 1000 > LONGEST_MS) finish();
    else requestAnimationFrame(run);
  };
  run();
}

function stopNow() {
  turn++;
  mic.stop();
}

async function finish() {
  if (phase === "counting") {
    stopNow();
    phase = "idle";
    return showPhase();
  }
  const until = (performance.now() - began) / 1000 - KEY_NOISE_S;
  const after = (spoke - began) / 1000;
  phase = "judging";
  showPhase();
  at("verdict").replaceChildren(element("p", {}, w("booth.judging")));
  const mine = turn;
  const sound = await mic.stop();
  if (mine === turn) judge(sound, `&after=${after.toFixed(3)}&until=${until.toFixed(3)}`);
}

async function judge(sound, where = "") {
  phase = "judging";
  take = null;
  showPhase();
  const mine = ++turn;
  const answer = await upload(`/api/take/${plan}/${key}?voice=${encodeURIComponent(voice())}${where}`, sound);
  if (mine !== turn) return;
  phase = "idle";
  if (answer.status !== 200) {
    const why = element("p", { class: "mend" });
    tell(why, answer.body?.error || w("top.offline"));
    at("verdict").replaceChildren(why);
    showPhase();
    return at("record").focus();
  }
  take = answer.body;
  showVerdict();
  showPhase();
  at(take.remarks.some((remark) => remark.again) ? "record" : "keep").focus();
}

function showVerdict() {
  const good = !take.remarks.length;
  const made = [element("p", { class: good ? "good" : "" }, w(good ? "booth.good" : "booth.length", { n: take.seconds }))];
  for (const remark of take.remarks) made.push(element("p", { class: "mend" }, w(`booth.is_${remark.code}`, { n: remark.n, most: remark.most })));
  at("verdict").replaceChildren(...made);
}

function hear() {
  audio.src = take ? `/take/${plan}/${key}/${take.id}.wav` : `/take/${plan}/${key}/kept.wav?voice=${encodeURIComponent(voice())}&${Date.now()}`;
  audio.play().catch((error) => error.name !== "AbortError" && trouble(w("booth.not_heard")));
}

// Keeping.
async function act(path, body) {
  const answer = await send(`${api}/${path}`, { ...body, voice: voice() });
  if (answer.status === 200) {
    trouble("");
    return answer.body;
  }
  if (answer.body) trouble(answer.body.error);
  return null;
}

async function keep() {
  const found = await act("keep", { key, id: take.id });
  if (!found) return;
  const kept = state.lines.indexOf(line());
  accept(found);
  const order = [...state.lines.slice(kept + 1), ...state.lines.slice(0, kept + 1)];
  const next = order.find((one) => !one.mine);
  choose(next ? next.key : key);
  announce(next ? `${w("booth.kept")} ${next.text}` : w("booth.all_kept"));
  at("verdict").replaceChildren(element("p", {}, w(next ? "booth.kept" : "booth.all_kept")));
  at("record").focus();
}

async function takeBack() {
  const found = await act("back", { key });
  if (!found) return;
  accept(found);
  take = { id: found.id, seconds: 0, remarks: [] };
  at("verdict").replaceChildren(element("p", {}, w("booth.taken_back")));
  showPhase();
  at("keep").focus();
}

async function speakWithIt() {
  const change = { number: state.number, what: w("booth.speak"), edits: [{ op: "set", at: "voice", value: state.voice }] };
  const answer = await send(`/api/plan/${plan}/edit`, change);
  if (answer.status !== 200 && answer.body) trouble(answer.status === 409 ? w("compose.changed") : answer.body.error);
  await refresh();
  if (answer.status !== 200) return;
  announce(w("booth.speaks"));
  at("verdict").replaceChildren(element("p", {}, w("booth.speaks")));
  at("record").focus();
}

async function refresh() {
  const answer = await send(`${api}?voice=${encodeURIComponent(voice())}`, null);
  if (answer.status === 200) accept(answer.body);
  else if (answer.body) trouble(answer.body.error);
  return answer.status === 200;
}

function wire() {
  at("record").addEventListener("click", () => (busy() ? finish() : start()));
  at("hear").addEventListener("click", hear);
  at("keep").addEventListener("click", keep);
  at("back").addEventListener("click", takeBack);
  at("previous").addEventListener("click", () => stepLine(-1));
  at("next").addEventListener("click", () => stepLine(1));
  at("speak").addEventListener("click", speakWithIt);
  at("voice").addEventListener("change", async () => (await refresh()) && trouble(""));
  at("mic").addEventListener("change", () => openMic(at("mic").value));
  at("mic-off").addEventListener("click", () => {
    if (phase !== "idle") choose(key);
    mic.close();
    at("mic-off").hidden = true;
    at("level-word").textContent = w("booth.mic_off");
    for (const [id, name] of [["level-now", "width"], ["level-peak", "left"]]) at(id).style.setProperty(name, "0");
    at("record").focus();
  });
  fileZone(at("now"), at("one-file"), (file) => judge(file));
  document.addEventListener("reworded", () => {
    refresh();
    if (take?.seconds) showVerdict();
    if (!mic.isOpen) at("level-word").textContent = w("booth.mic_off");
  });
}

if (at("state-data")) {
  accept(JSON.parse(at("state-data").textContent));
  wire();
  reading = wireReading({ plan, mic, openMic, voice, accept, hearFrom: (url) => ((audio.src = url), audio.play()), changed: showPhase, busy });
}
