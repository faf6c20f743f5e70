// Finish: one job at a time is made on the desk; this page only asks how it stands, so that it can be reloaded.
import { announce, at, heardIn, named, send, setParts, tell, trouble, w } from "./page.js";
import { dropZone, putInto } from "./drop.js";

const plan = document.body.dataset.plan;
const api = `/api/finish/${encodeURIComponent(plan)}`;
const state = JSON.parse(at("state-data").textContent);
const clock = (s) => `${Math.floor(s / 60)}:${String(Math.floor(s % 60)).padStart(2, "0")}`;

function element(name, attributes, text) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text) made.textContent = text;
  return made;
}

function troubled(answer) {
  if (answer.status !== 200 && answer.body) trouble(answer.body.error);
  else if (answer.status === 200) trouble("");
  return answer.status === 200;
}

// What stands before the button to try music is why it cannot be pressed yet.
let busy = false;
function showMix() {
  at("mix").disabled = busy || !!at("mix-why").firstElementChild;
}
function showParts(parts) {
  setParts(parts);
  showMix();
}

// Jobs.
let watching = 0;
let step = "";
let ended = state.job.status === "running" ? 0 : state.job.number || 0;

function showJob(job) {
  const box = at("job");
  box.hidden = !job.status || (job.status !== "running" && job.number === ended && !box.dataset.shown);
  if (box.hidden) return;
  box.dataset.shown = "yes";
  const running = job.status === "running";
  at("job-title").textContent = w(running ? `job.${job.kind}` : `job.${job.status}`);
  at("job-work").hidden = !running;
  busy = running;
  at("start").disabled = busy;
  showMix();
  if (running) {
    at("job-stop").disabled = false;
    const part = job.total ? w("job.part", { what: w(`job.${job.step}`), n: Math.floor((100 * job.done) / job.total) }) : w("job.begins");
    at("job-step").textContent = job.plan === plan ? part : named(job.plan, part);
    if (job.total) at("job-bar").value = job.done / job.total;
    else at("job-bar").removeAttribute("value");
    if (job.step && job.step !== step) announce(w(`job.${(step = job.step)}`));
    return;
  }
  step = "";
  const end = element("div", {});
  if (job.message) {
    const lines = job.message.split("\n");
    for (const line of job.links.length ? [w("job.mend")] : lines) {
      const said = element("p", {});
      if (!job.links.length) heardIn(line, job.lang);
      tell(said, line);
      end.append(said);
    }
  }
  if (job.links.length) {
    const list = element("ul", { class: "faults" });
    for (const link of job.links) {
      const row = element("li", {});
      const text = element("span", {});
      heardIn(link.text, link.lang);
      tell(text, link.text);
      row.append(text);
      if (link.file) row.append(` (${link.file})`);
      if (link.hint) row.append(element("p", { class: "hint", lang: "en" }, link.hint));
      const href = `/plan/${encodeURIComponent(job.plan)}${link.at ? `#/${encodeURIComponent(link.at)}` : ""}`;
      const acts = element("p", {});
      acts.append(element("a", { href }, w("job.go")));
      row.append(acts);
      list.append(row);
    }
    end.append(list);
  }
  at("job-end").replaceChildren(...end.childNodes);
}

async function watch() {
  clearTimeout(watching);
  const answer = await send("/api/job", null);
  if (answer.status === 200 && answer.body.status) {
    const job = answer.body;
    const before = ended;
    if (job.status !== "running") ended = job.number;
    showJob(job);
    if (job.status !== "running") {
      if (before !== ended) await over(job);
      return;
    }
  } else if (answer.status === 200) return;
  watching = setTimeout(watch, 400);
}

async function over(job) {
  announce(w(`job.${job.status}`));
  const answer = await send(api, null);
  if (answer.status === 200) showParts(answer.body.parts);
  // What had the focus may be gone with the work: the button to stop it.
  const lost = document.activeElement === document.body || document.activeElement === at("job-stop");
  if (job.status === "done" && job.plan === plan) {
    at("job").hidden = true;
    delete at("job").dataset.shown;
    if (lost) (job.kind === "under" ? at("tried") : at("result-title")).focus();
    if (job.kind !== "under") announce(at("verdict")?.textContent || "");
  } else if (lost) at("job-title").focus();
}

async function begin(path, data) {
  const answer = await send(path, data);
  if (!troubled(answer)) return;
  at("job").dataset.shown = "yes";
  showJob(answer.body);
  at("job-stop").focus();
  watch();
}

at("render").addEventListener("submit", (event) => {
  event.preventDefault();
  const form = event.target.elements;
  const data = { format: form.format.value };
  for (const key of ["for_music", "embed", "subtitles"]) data[key] = form[key].checked;
  begin(`${api}/render`, data);
});
at("job-stop").addEventListener("click", async () => {
  at("job-step").textContent = w("job.stopping");
  await send("/api/job/cancel", {});
});

// Music to try.
const level = at("level");
function showLevel() {
  const value = Number(level.value);
  const said = value === 0 ? w("music.as_loud") : w(value < 0 ? "music.below" : "music.above", { n: Math.abs(value) });
  at("level-said").textContent = said;
  level.setAttribute("aria-valuetext", said);
}
level.addEventListener("input", showLevel);
at("under").addEventListener("submit", (event) => {
  event.preventDefault();
  begin(`${api}/under`, { level: Number(level.value) });
});
dropZone(at("music-part"), (files) => putInto(at("songs"), files));
at("songs").addEventListener("change", async (event) => {
  const files = [...event.target.files];
  for (const [n, file] of files.entries()) {
    at("songs-state").textContent = w("music.coming", { n: n + 1, of: files.length });
    let answer;
    try {
      const got = await fetch(`/api/music/${encodeURIComponent(plan)}?file=${encodeURIComponent(file.name)}`, { method: "POST", body: file });
      const isJson = (got.headers.get("content-type") || "").includes("json");
      answer = { status: got.status, body: isJson ? await got.json() : { error: await got.text() } };
      heardIn(answer.body.error, answer.body.lang);
    } catch {
      answer = { status: 0, body: { error: w("top.offline") } };
    }
    if (!troubled(answer)) break;
    showParts(answer.body.parts);
  }
  event.target.value = "";
  at("songs-state").textContent = "";
});

// To the phone.
let opened = 0;
let phoneTimer = 0;
function showPhone(phone, arrived) {
  clearInterval(phoneTimer);
  const box = at("phone-open");
  box.hidden = !phone.address;
  // One file is shared at a time: what is shared is stopped before another is offered.
  at("phone-files").hidden = !!phone.address && phone.plan === plan;
  if (!phone.address) {
    if (opened) announce(w("phone.closed"));
    opened = 0;
    return;
  }
  opened = Date.now() + 1000 * phone.left_s;
  // The file of another plan is named, so that it can be closed; its code would be taken for this one's.
  const own = phone.plan === plan;
  box.classList.toggle("other", !own);
  at("phone-code").innerHTML = (own && phone.code) || "";
  const link = at("phone-address");
  link.href = link.textContent = phone.address;
  at("phone-what").textContent = w(own ? "phone.what" : "phone.other", { file: phone.file });
  const tick = () => {
    const left = Math.max(0, Math.round((opened - Date.now()) / 1000));
    at("phone-left").textContent = clock(left);
    if (!left) askPhone();
  };
  tick();
  phoneTimer = setInterval(tick, 1000);
  if (arrived) at("phone-stop").focus();
}
async function askPhone() {
  const answer = await send("/api/phone", null);
  if (answer.status === 200) showPhone(answer.body, false);
}
at("phone-stop").addEventListener("click", async () => {
  const answer = await send("/api/phone/stop", {});
  if (!troubled(answer)) return;
  showPhone({}, false);
  at("phone-track")?.focus();
});

const acts = {
  check: () => begin(`${api}/check`, {}),
  phone: async (button) => {
    const answer = await send(`${api}/phone`, { which: button.dataset.which });
    if (troubled(answer)) showPhone(answer.body, true);
  },
  keep: async () => {
    const answer = await send(`${api}/keep`, {});
    if (!troubled(answer)) return;
    showParts(answer.body.parts);
    announce(answer.body.said);
  },
  unsong: async (button) => {
    const answer = await send(`${api}/unsong`, { file: button.dataset.file });
    if (!troubled(answer)) return;
    showParts(answer.body.parts);
    at("songs").focus();
  },
};
document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-do]");
  if (button && acts[button.dataset.do]) acts[button.dataset.do](button);
});

document.addEventListener("reworded", async () => {
  showLevel();
  const job = at("job").hidden ? null : await send("/api/job", null);
  if (job?.status === 200 && job.body.status) showJob(job.body);
  if (!at("phone-open").hidden) askPhone();
  const answer = await send(api, null);
  if (answer.status === 200) showParts(answer.body.parts);
});

showLevel();
if (state.job.status === "running") showJob(state.job);
watch();
askPhone();
