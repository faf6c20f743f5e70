// The desk: sends what a person does as small edits, shows what comes back, and plays the session.
// What is being typed is never overwritten: the page is changed in place, element by element.
import { laneWidths, wireCues } from "./cues.js";
import { Elsewhere } from "./elsewhere.js";
import { calledOf, changeOf, chosenIn } from "./naming.js";
import { announce, at, heardIn, letters, morph, named, savedChoice, send, setParts, tell, trouble, w } from "./page.js";
import { Player } from "./player.js";
import { Score } from "./score.js";

const plan = document.body.dataset.plan;
const api = `/api/plan/${encodeURIComponent(plan)}`;
let state = JSON.parse(at("state-data").textContent);
const player = new Player(plan, () => state);
const score = new Score(api);
const differ = async (before, now) => (await send(`${api}/differences`, { before, now })).body?.rows;
const elsewhere = new Elsewhere(restore, differ, () => at("undo").focus());

// Edits go one after the other, so that each is made on what the one before has left.
let queue = Promise.resolve();
const inTurn = (work) => (queue = queue.then(work, work));

// What was shown here before each change that was made elsewhere; and every text that was shown, by its digest.
const replaced = [];
const shownHere = new Set([state.seen]);

// `edits` are those that were asked for on the text that was shown here before; a change made elsewhere that
// the person is asked about already is not offered again. `step` is told where a step was asked for to which no
// answer came: a text that was shown here before is what came of it.
function take(found, { edits = null, asked = false, step = false } = {}) {
  if (!found) return;
  const { parts, base, made, ...rest } = found;
  const before = state;
  state = rest;
  const had = document.activeElement;
  if (!setParts(parts)) wholeAgain();
  showState();
  keepFocus(had);
  // Made on a text that was not shown here, or followed by another change already.
  const changed = base === undefined ? state.seen !== before.seen : base !== before.seen || made !== state.seen;
  if (changed) replaced.push({ text: before.text, seen: before.seen });
  // Another plan has a new name at this desk, and this one names it so: the person has done it.
  const follows = base === undefined && state.followed.includes(before.seen);
  const known = follows || (step && shownHere.has(state.seen));
  shownHere.add(state.seen);
  if (changed && !asked && !known) elsewhere.offer(before.text, state.text, edits);
}

// What the page was told to keep was not there: it asks for all of it.
const wholeAgain = () => inTurn(async () => take((await send(api, null)).body, { asked: true }));

// What had the focus keeps it, though it was put elsewhere or made anew; if it is gone, what stands nearest has it.
function keepFocus(had) {
  if (!had || had === document.body || document.activeElement === had) return;
  if (had.isConnected) had.focus({ preventScroll: true });
  if (document.activeElement === had) return;
  const steps = had.closest("[id]")?.id.split("/") ?? [];
  const parts = [...steps.keys()].reverse().map((n) => `p/${steps.slice(1, n).join("/")}`);
  const row = ["c", "y", "x"].includes(steps[0]) && document.querySelector(`[id="i/${steps[1]}"] .hear`);
  if (row && !at(had.id)) row.focus({ preventScroll: true });
  else focusOn([had.id, ...parts, "main"]);
}

// What the browser's own search finds in a closed part opens that; the browser then takes the attribute away by
// which it was found, and without which what is closed again would stay to be seen.
document.addEventListener("beforematch", (event) => reveal(event.target));
document.addEventListener(
  "toggle",
  ({ target }) => {
    const inside = target.open ? null : target.parentElement.querySelector(":scope > .inside");
    inside?.setAttribute("hidden", "until-found");
  },
  true,
);

// Opens all that an element is in. What is in a part of the plan stands behind its buttons, outside its details.
function reveal(element) {
  for (let box = element; box; box = box.parentElement) {
    const opens = box.matches(".item > .inside") ? box.parentElement.querySelector(":scope > details") : box;
    if (opens.matches("details")) opens.open = true;
  }
}

// The first of some elements that is there gets the focus; what hides it is opened.
function focusOn(ids) {
  const found = ids.map((id) => id && at(id)).find(Boolean);
  if (!found) return;
  const target = found.matches("li, details") ? found.querySelector("summary") || found : found;
  reveal(found.parentElement);
  target.focus({ preventScroll: true });
  if (target !== at("main")) target.scrollIntoView({ block: "nearest" });
}

let speaking = false;
function showState() {
  // Not disabled: the focus would be lost with the last step.
  at("undo").setAttribute("aria-disabled", String(!state.can_undo));
  at("redo").setAttribute("aria-disabled", String(!state.can_redo));
  if (state.title) at("title").textContent = state.title;
  const text = at("text");
  // What is being written there stays, and stays bound to the text that it was written on.
  if (text.value === (text.dataset.saved ?? "") || text.value === state.text) {
    if (text.value !== state.text) text.value = state.text;
    text.dataset.saved = text.value;
    text.dataset.seen = state.seen;
  }
  // Said when it begins and ends, not at each line.
  if (Boolean(state.unspoken) !== speaking) announce(w((speaking = !speaking) ? "hear.speaks" : "hear.spoken"));
  at("speaking").textContent = state.unspoken ? w("hear.speaking", { n: state.unspoken }) : "";
  showFindings(state.findings);
  player.show(state.length_s);
  score.follow(`${state.number}.${state.unspoken}`);
  showTimetable();
}

// When each part of the timetable starts, and where its marks stand.
function showTimetable() {
  for (const row of document.querySelectorAll("#timetable .row")) {
    const hear = row.querySelector(".hear");
    hear.dataset.from = row.dataset.start;
    const time = hear.querySelector("time");
    if (time.textContent !== row.dataset.clock) time.textContent = row.dataset.clock;
  }
  laneWidths();
}

// Findings stand in a list, and each beside its field.
function showFindings(findings) {
  const list = at("findings");
  const made = document.createElement("div");
  if (!findings.length) made.append(element("p", { class: "calm" }, w("compose.none")));
  // A question that waits for an answer stays until its field is changed again.
  for (const note of document.querySelectorAll(".notes > :not([data-stays])")) note.remove();
  findings.forEach((row, number) => {
    made.append(findingOf(row, `list/${number}`, number));
    const beside = row.at && nearest(row.at);
    if (beside) beside.append(findingOf(row, `beside/${number}`));
  });
  morph(list, made);
}

function nearest(name) {
  const steps = name.split("/");
  for (let n = steps.length; n > 0; n--) {
    const found = document.querySelector(`[data-notes="${CSS.escape(steps.slice(0, n).join("/"))}"]`);
    if (found) return found;
  }
  return null;
}

// `number` is its place in the list; beside a field there is none.
function findingOf(row, id, number = null) {
  const box = element("div", { class: `finding f-${row.level}`, id: `finding/${id}` });
  const head = element("p", {});
  const message = element("span", {});
  heardIn(row.message, row.lang);
  tell(message, row.message);
  head.append(element("b", {}, named(w(`compose.${row.level}`), "")), message);
  if (row.file) head.append(` (${row.file})`);
  box.append(head);
  if (row.hint) box.append(element("p", { class: "hint", lang: "en" }, row.hint));
  const acts = element("p", { class: "acts" });
  if (number !== null && row.at && nearest(row.at)) {
    const go = element("button", { type: "button", id: `go/${id}` }, w("hear.edit"));
    go.addEventListener("click", () => goTo(row.at));
    acts.append(go);
  }
  row.fixes.forEach((fix, n) => {
    const button = element("button", { type: "button", id: `fix/${id}/${n}` }, fix.label);
    button.addEventListener("click", () => remedy(fix, row, number));
    acts.append(button);
  });
  if (acts.children.length) box.append(acts);
  return box;
}

function element(name, attributes, text) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text) made.textContent = text;
  return made;
}

function goTo(name) {
  const steps = name.split("/");
  for (let n = steps.length; n > 0; n--) {
    const here = steps.slice(0, n).join("/");
    const field = at(`f/${here}`) || at(`d/${here}`) || at(`p/${here}`);
    if (!field) continue;
    reveal(field);
    const target = field.matches("input, textarea, select") ? field : field.querySelector("input, textarea, select, summary");
    (target || field).focus();
    field.scrollIntoView({ block: "center" });
    return;
  }
}

// While the desk is gone an edit waits, and those after it, and is made once it is back. What was typed for it
// into a field that is emptied at once, for the next, stands there again meanwhile. It may have been made before
// the desk went, without an answer: by the text that it is asked for `on`, that is told. So it is with a step.
const AGAIN_MS = 1000;
let waits = false;
async function sendOnceThere(url, body, on, typed) {
  let answer = await send(url, body);
  const field = !answer.status && typed && at(typed.id);
  // The next may have been begun there before it was known that this one waits.
  const next = field ? field.value : "";
  if (field) Object.assign(field, { value: typed.text, readOnly: true });
  while ((waits = !answer.status)) {
    await new Promise((done) => setTimeout(done, AGAIN_MS));
    answer = { ...(await send(url, { ...body, on })), again: true };
  }
  if (field) Object.assign(field, { value: next, readOnly: false });
  return answer;
}

// Sending. Tells whether the edits were made. `typed` is the text that they were made of, and its field's id:
// where the desk does not take it, it comes back.
function edit(edits, what, { was, focus, typed } = {}) {
  const met = replaced.length;
  return inTurn(async () => {
    at("state").textContent = w("top.saving");
    for (const { at: name } of edits) if (typeof name === "string") nearest(name)?.replaceChildren();
    dropAttempts();
    // One that waited while a change made elsewhere was taken in is meant for the text before that.
    const { seen, text } = replaced[met] ?? state;
    const body = { number: state.number, seen, shown: state.shown, edits, what: what || "" };
    if (was) body.was = was;
    const answer = await sendOnceThere(`${api}/edit`, body, text, typed);
    at("state").textContent = answer.status === 200 ? w("top.saved") : "";
    if (answer.status === 409) await conflict(edits, what, answer.body, text);
    else if (answer.status === 200) {
      const n = state.findings.length;
      take(answer.body, { edits });
      if (focus) focusOn([focus, "add-say"].flat());
      const left = state.findings.length;
      const more = left === n ? "" : left ? w("compose.n_findings", { n: left }) : w("compose.none");
      if (what && !elsewhere.mine) announce(`${w("top.taken", { what })}. ${more}`.trim());
    } else if (answer.body) {
      refuse(edits, answer.body.error);
      const field = typed && at(typed.id);
      if (field) field.value = [typed.text, field.value].filter(Boolean).join(" ");
    }
    return answer.status === 200;
  });
}

// A remedy takes its own button away: the focus goes on to the next finding of the list, or to the field.
function remedy(fix, row, number) {
  edit(fix.edits, fix.label).then((taken) => {
    if (!taken) return;
    if (document.activeElement !== document.body && document.activeElement !== at("main")) return;
    const next = number === null ? null : at(`finding/list/${number}`)?.querySelector("button");
    if (number === null) goTo(row.at);
    else (next || at("findings-title")).focus();
  });
}

function refuse(edits, message) {
  const name = edits.length === 1 && typeof edits[0].at === "string" ? edits[0].at : "";
  const beside = name && nearest(name);
  if (beside) beside.replaceChildren(findingOf({ level: "error", message, hint: "", fixes: [], at: "" }, "refused"));
  announce(message);
  if (!beside) trouble(message);
}

// The plan as it stands now; where it is not the one that was shown here, both are offered.
async function refresh(options) {
  dropAttempts();
  const fresh = await send(`${api}?shown=${state.shown}`, null);
  if (fresh.status === 200) take(fresh.body, options);
}

// One's own text comes back in place of what was changed elsewhere, as a step that can be taken back.
function restore(text, edits) {
  return inTurn(async () => {
    dropAttempts();
    const mine = { text, edits, number: state.number, seen: state.seen, shown: state.shown, what: w("elsewhere.mine") };
    const answer = await send(`${api}/text`, mine);
    if (answer.status === 200) take(answer.body);
    else if (answer.status === 409) await refresh();
    else if (answer.body) trouble(answer.body.error);
    return answer.status === 200;
  });
}

// Two changes met at one place: both are shown, and the person says which it is to be. `text` is that on which
// the edits were asked for.
async function conflict(edits, what, body, text) {
  const lone = edits.length === 1 && edits[0].op === "set" && body.theirs !== null && nearest(edits[0].at);
  await refresh({ asked: true });
  const beside = lone && nearest(edits[0].at);
  if (!beside) return elsewhere.offer(text, state.text, edits);
  const { theirs } = body;
  const box = element("div", { class: "finding f-error", role: "alert", "data-stays": "" });
  box.append(element("p", {}, w("compose.theirs", { value: theirs })));
  const mine = element("button", { type: "button" }, w("compose.keep_mine"));
  mine.addEventListener("click", () => edit(edits, what));
  const yours = element("button", { type: "button" }, w("compose.take_theirs"));
  yours.addEventListener("click", () => {
    const field = at(`f/${edits[0].at}`);
    if (field) field.value = field.dataset.saved ?? theirs;
    beside.replaceChildren();
  });
  const acts = element("p", { class: "acts" });
  acts.append(mine, yours);
  box.append(acts);
  beside.replaceChildren(box);
  mine.focus();
}

// What is being typed is planned before it is saved.
let trying = 0;
let tryTimer = 0;
function attempt(edits) {
  const turn = dropAttempts();
  tryTimer = setTimeout(async () => {
    await queue;
    if (turn !== trying) return;
    const { shown } = state;
    const answer = await send(`${api}/try`, { edits, shown });
    // An answer is made of what has changed since what the page showed when it asked.
    if (answer.status !== 200 || turn !== trying || shown !== state.shown) return;
    state.shown = answer.body.shown;
    if (!setParts(answer.body.parts)) wholeAgain();
    showFindings(answer.body.findings);
    showTimetable();
  }, 40);
}

// What is saved comes instead of what was tried before.
function dropAttempts() {
  clearTimeout(tryTimer);
  return ++trying;
}

function editOf(field) {
  const { kind, at: name } = field.dataset;
  const typed = kind === "yes" ? String(field.checked) : field.value;
  if (!typed.trim() && field.dataset.needed === undefined && kind !== "line") return { op: "remove", at: name };
  return { op: "set", at: name, kind, typed };
}

function wasOf(field) {
  const kind = field.dataset.kind;
  const before = field.dataset.saved ?? field.defaultValue;
  if (kind === "choice" || kind === "entry" || kind === "yes") return null;
  return before ? { kind, typed: before } : { absent: true };
}

function commit(field) {
  const saved = field.dataset.saved ?? field.defaultValue;
  if (field.matches("input:not([type=checkbox]), textarea") && field.value === saved) return;
  const change = editOf(field);
  if (change.op === "remove" && field.matches("input:not([type=checkbox])") && !saved) return;
  const was = wasOf(field);
  chosen(field, edit([change], changeOf(field), was ? { was } : {}));
}

// A choice that is not taken does not stay as if it were: the plan has what was there before.
async function chosen(field, taken) {
  if (await taken) return;
  if (field.matches("select")) field.value = savedChoice(field);
  else if (field.type === "checkbox") field.checked = field.hasAttribute("checked");
}

function moved(name, by) {
  const cut = name.lastIndexOf("/");
  const parent = name.slice(0, cut);
  const index = Number(name.slice(cut + 1));
  return { edit: { op: "move", at: parent, index, to: index + by }, name: `${parent}/${index + by}` };
}

const acts = {
  // A choice is taken by its button: the arrow keys only look through it.
  choose: (button) => {
    const field = at(button.dataset.of);
    if (field.value) choices[field.dataset.choice](field.value, field);
    else field.focus();
  },
  up: (button, name) => shift(button, name, -1),
  down: (button, name) => shift(button, name, 1),
  remove: (button, name) => edit([{ op: "remove", at: name }], named(w("compose.remove"), calledOf(name)), { focus: nextTo(button, name) }),
  copy: (button, name) => edit([{ op: "copy", at: name }], named(w("compose.copy"), calledOf(name)), { focus: button.id }),
  wishes: (button, name) => edit([{ op: "wishes", at: name }], named(w("compose.wishes"), calledOf(name)), { focus: `w/${name}` }),
  times: (button, name) => edit([{ op: "times", at: name }], named(w("compose.own_times"), calledOf(name)), { focus: `w/${name}` }),
  "add-say": (button) => edit([{ op: "add", kind: "say" }], w("compose.add_say"), { focus: button.id }),
  "add-rest": (button) => edit([{ op: "add", kind: "rest" }], w("compose.add_rest"), { focus: button.id }),
};

// Where to go on when something is taken out: to what takes its place, to what stood before it, or to adding.
function nextTo(button, name) {
  const item = button.closest("li");
  const cut = name.lastIndexOf("/");
  const [parent, index] = [name.slice(0, cut), Number(name.slice(cut + 1))];
  const others = Number.isNaN(index)
    ? [item.nextElementSibling, item.previousElementSibling].map((one) => one?.querySelector(":scope > .buttons [id^='remove/']")?.id)
    : [`remove/${name}`, `remove/${parent}/${index - 1}`];
  return [...others, `a/${Number.isNaN(index) ? name : parent}`, name.startsWith("exercises/") ? "new-exercise" : "add-say"];
}

function shift(button, name, by) {
  const change = moved(name, by);
  const kind = button.dataset.do;
  edit([change.edit], named(w(`compose.${kind}`), calledOf(name)), {
    focus: `${kind}/${change.name}`,
  });
}

const choices = {
  "add-block": (value, field) => edit([{ op: "add", kind: "block", pattern: value }], named(w("compose.add_block"), chosenIn(field)), { focus: "do-add-block" }),
  "add-include": (value) => edit([{ op: "add", kind: "include", name: value }], named(w("compose.add_include"), value), { focus: "do-add-include" }),
  "add-entry": (value, field) => edit([{ op: "append", at: field.dataset.at, typed: value }], named(w("compose.add_entry"), value), { focus: `b/${field.dataset.at}` }),
  pattern: (value, field) => edit([{ op: "set", at: `${field.dataset.at}/pattern`, value }], named(w("shelf.pattern"), chosenIn(field))),
  rename: (value, field) => {
    const name = value.trim();
    if (name) edit([{ op: "rename", at: field.dataset.at, name }], named(w("compose.rename"), name), { focus: `rename/exercises/${letters(name)}` });
  },
  "add-line": (value, field) => {
    if (!value.trim() || field.readOnly) return;
    field.value = "";
    edit([{ op: "append", at: field.dataset.at, typed: value }], named(w("compose.add_line"), value).slice(0, 120), { focus: field.id, typed: { id: field.id, text: value } });
  },
};

const wish = (name, key, value, what) => edit([{ op: "wish", at: name, key, value }], what);

function wire() {
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button || button.getAttribute("aria-disabled") === "true") return;
    const name = button.dataset.at;
    if (acts[button.dataset.do]) acts[button.dataset.do](button, name);
    else if (button.dataset.from !== undefined) player.playFrom(Number(button.dataset.from));
    else if (button.dataset.cueFrom !== undefined) {
      const start = Number(button.closest("[data-start]").dataset.start);
      player.playFrom(Math.max(0, start + Number(button.dataset.cueFrom)), start + Number(button.dataset.cueTo));
    }
  });
  document.addEventListener("change", (event) => {
    const field = event.target;
    const choice = choices[field.dataset?.do];
    if (choice) {
      const value = field.value;
      if (value) chosen(field, choice(value, field));
    } else if (field.dataset?.off !== undefined) {
      const name = field.dataset.off;
      chosen(field, edit([field.checked ? { op: "set", at: name, value: false } : { op: "remove", at: name }], changeOf(field)));
    } else if (field.dataset?.kind) commit(field);
  });
  document.addEventListener("input", (event) => {
    const field = event.target;
    if (field.dataset?.kind && field.matches("input:not([type=checkbox]), textarea")) attempt([editOf(field)]);
  });
  document.addEventListener("keydown", (event) => {
    const field = event.target;
    if (event.key === "Enter" && field.matches("textarea[data-kind], textarea[data-do]")) {
      event.preventDefault();
      field.dispatchEvent(new Event("change", { bubbles: true }));
    }
  });
  wireCues({ wish, drop: (name, what) => edit([{ op: "remove", at: name }], what), open: goTo });
  at("undo").addEventListener("click", () => step("undo"));
  at("redo").addEventListener("click", () => step("redo"));
  at("add-exercise-box").addEventListener("submit", (event) => {
    event.preventDefault();
    const field = at("new-exercise");
    const name = field.value.trim();
    if (!name || field.readOnly) return;
    field.value = "";
    edit([{ op: "add", kind: "exercise", name }], named(w("compose.add_exercise"), name), { focus: "new-exercise", typed: { id: "new-exercise", text: name } });
  });
  // A field counts when it is left: so too where the page is left with it.
  addEventListener("pagehide", () => document.activeElement?.blur());
  addEventListener("beforeunload", (event) => {
    if (waits || at("text").value !== (at("text").dataset.saved ?? "")) event.preventDefault();
  });
  at("save-text").addEventListener("click", () =>
    inTurn(async () => {
      const field = at("text");
      const text = field.value;
      dropAttempts();
      const answer = await send(`${api}/text`, { text, number: state.number, seen: field.dataset.seen, shown: state.shown });
      if (answer.status === 200) take(answer.body);
      else if (answer.status === 409) {
        await refresh({ asked: true });
        field.value = state.text;
        field.dataset.saved = field.value;
        field.dataset.seen = state.seen;
        elsewhere.offer(text, state.text, []);
      } else if (answer.body) trouble(answer.body.error);
    }),
  );
}

const step = (way) =>
  inTurn(async () => {
    if (!state[`can_${way}`]) return;
    const [before, question] = [state, elsewhere.mine];
    dropAttempts();
    at("state").textContent = w("top.saving");
    const answer = await sendOnceThere(`${api}/${way}`, { seen: state.seen, shown: state.shown }, state.text);
    at("state").textContent = "";
    if (answer.status === 200) take(answer.body);
    else if (answer.status === 409) await refresh({ step: answer.again });
    else if (answer.body) trouble(answer.body.error);
    if (elsewhere.mine === question && [200, 409].includes(answer.status)) tellStep(way, before);
  });

// A desk that was started again has no steps: one that waited for it is not taken.
function tellStep(way, before) {
  const [one, what] = way === "undo" ? ["undone", before.what] : ["redone", state.what];
  const said = state.seen === before.seen ? w(`top.not_${one}`) : w(`top.${one}`, { what });
  at("state").textContent = said;
  announce(said);
}

// Deleted, or under another name: said once, and no more as soon as it is back.
let gone = "";
function tellGone(error) {
  if (error === gone) return;
  if (error || at("trouble").textContent === gone) trouble(error);
  gone = error;
}

// Looks now and then whether the file was changed elsewhere, or lines were spoken meanwhile.
let looking = 0;
async function look() {
  clearTimeout(looking);
  const typing = document.activeElement?.dataset?.kind && document.activeElement.value !== document.activeElement.defaultValue;
  if (!document.hidden && !typing) {
    await inTurn(async () => {
      dropAttempts();
      const { seen, unspoken, beside, shown } = state;
      const answer = await send(`${api}?${new URLSearchParams({ seen, unspoken, beside, shown })}`, null);
      if (answer.status === 200) take(answer.body);
      tellGone(answer.body?.error ?? "");
    });
  }
  looking = setTimeout(look, state.unspoken ? 800 : 2500);
}

wire();
showState();
// Other views link to a field: /plan/NAME#/PLACE.
if (location.hash.startsWith("#/")) goTo(decodeURIComponent(location.hash.slice(2)));
look();
document.addEventListener("reworded", () => inTurn(async () => {
  score.again();
  await refresh({ asked: true });
}));
document.addEventListener("visibilitychange", () => document.hidden || look());
