// What every page of the desk needs: words, asking the desk, and changing the page in place.
import "./drop.js";

let words = JSON.parse(document.getElementById("words").textContent);

export const at = (id) => document.getElementById(id);
export const closest = (node, selector) => (node.closest ? node.closest(selector) : null);
export const letters = (name) => name.replaceAll("~", "~0").replaceAll("/", "~1");

export const language = () => document.documentElement.lang;

// The words of another language, from now on.
export function useWords(found) {
  words = found;
}

// A number as the page's language writes it, with so many digits behind its decimal sign.
export function decimal(value, digits = 1) {
  return value.toLocaleString(language(), { minimumFractionDigits: digits, maximumFractionDigits: digits, useGrouping: false });
}

// From an entry with plural forms the value `n` chooses.
export function w(key, values = {}) {
  const form = () => words[`${key}.${new Intl.PluralRules(language()).select(values.n)}`] ?? words[`${key}.other`];
  const shown = (value) => (typeof value === "number" ? value.toLocaleString(language(), { useGrouping: false }) : value);
  return (words[key] ?? form() ?? key).replace(/\{(\w+)\}/g, (slot, name) => (name in values ? shown(values[name]) : slot));
}

// "Remove: this line", as the page's language writes it.
export const named = (what, name) => w("top.named", { what, name });

// What the rest of the program says is in another language than the page, perhaps; a text of no known language is the page's.
// A page may stay open for days: the latest are kept, far more than are shown at once.
const languages = new Map();
const MOST_HEARD = 400;
export function heardIn(text, lang) {
  if (!text || !lang) return;
  languages.delete(text);
  languages.set(text, lang);
  if (languages.size > MOST_HEARD) languages.delete(languages.keys().next().value);
}

// Puts a text in place, with its language.
export function tell(node, text) {
  node.textContent = text;
  const lang = languages.get(text);
  if (lang && lang !== language()) node.setAttribute("lang", lang);
  else node.removeAttribute("lang");
}

// For whoever does not see it. The same words twice are a change only if they differ in something.
export function announce(text) {
  const said = at("said");
  said.textContent = said.textContent === text ? `${text}\u00a0` : text;
}

// What a choice does stands beside it, for the one that is looked at.
document.addEventListener("change", (event) => {
  const told = event.target.dataset?.tells && at(event.target.dataset.tells);
  if (told) told.textContent = event.target.selectedOptions[0]?.dataset.does ?? "";
});

export function trouble(text) {
  const box = at("trouble");
  tell(box, text);
  box.hidden = !text;
}

// What is sent while the page is left would go with it; a browser lets so many bytes outlive their page.
const MOST_OUTLIVING = 60000;
let isLeft = false;
addEventListener("pagehide", () => (isLeft = true));
addEventListener("pageshow", () => (isLeft = false));

function posted(body) {
  const text = JSON.stringify(body);
  return { method: "POST", body: text, headers: { "Content-Type": "application/json" }, keepalive: isLeft && text.length < MOST_OUTLIVING };
}

// Returns {status, body}; the desk gone is trouble that ends by itself when it is back.
export async function send(url, body) {
  try {
    const options = body === null ? {} : posted(body);
    const answer = await fetch(url, options);
    if (answer.status === 403) throw new Error("stopped");
    if (at("trouble").textContent === w("top.offline")) trouble("");
    const isJson = (answer.headers.get("content-type") || "").includes("json");
    const found = isJson ? await answer.json() : null;
    heardIn(found?.error, found?.lang);
    return { status: answer.status, body: found };
  } catch {
    trouble(w("top.offline"));
    return { status: 0, body: null };
  }
}

// Tells whether all was there that was said to be the same as before.
export function setParts(parts) {
  missing = 0;
  for (const [id, html] of Object.entries(parts || {})) {
    const made = document.createElement("template");
    made.innerHTML = html;
    const box = document.createElement("div");
    box.append(made.content);
    morph(at(id), box);
  }
  return !missing;
}

// Makes the children of `old` like those of `made`: elements of the same id stay themselves, with their focus,
// their open parts and the text that is being typed in them. Those marked as the same stay as they are.
let missing = 0;
export function morph(old, made) {
  const kept = new Map();
  for (const child of old.children) if (child.id) kept.set(child.id, child);
  let here = old.firstChild;
  for (const wanted of [...made.childNodes]) {
    let match = wanted.id ? kept.get(wanted.id) : null;
    if (!match && here && !here.id && !wanted.id && here.nodeName === wanted.nodeName) match = here;
    if (match && match.nodeName === wanted.nodeName) {
      if (match !== here) old.insertBefore(match, here);
      else here = here.nextSibling;
      if (wanted.dataset?.same === undefined) same(match, wanted);
      else keep(match, wanted);
    } else if (wanted.dataset?.same === undefined) old.insertBefore(wanted, here);
    else missing++;
  }
  while (here) {
    const next = here.nextSibling;
    here.remove();
    here = next;
  }
}

// An element whose content has not changed; what was typed in it without coming to anything is taken back.
function keep(old, { attributes }) {
  for (const { name, value } of attributes)
    if (name !== "data-same" && old.getAttribute(name) !== value) old.setAttribute(name, value);
  for (const field of old.querySelectorAll("input[data-kind]:not([type=checkbox]), textarea[data-kind], select")) {
    if (field === document.activeElement) continue;
    const saved = field.nodeName === "SELECT" ? savedChoice(field) : (field.dataset.saved ?? field.defaultValue);
    if (field.value !== saved) field.value = saved;
  }
}

// What a list of choices shows by what the plan holds.
export function savedChoice(select) {
  const chosen = [...select.options].find((option) => option.hasAttribute("selected"));
  return chosen ? chosen.value : (select.options[0]?.value ?? "");
}

function same(old, wanted) {
  if (old.nodeType !== 1) {
    if (old.nodeValue !== wanted.nodeValue) old.nodeValue = wanted.nodeValue;
    return;
  }
  if (old.isEqualNode(wanted) && !old.matches("input, textarea, select")) return;
  for (const { name } of [...old.attributes])
    if (!wanted.hasAttribute(name) && name !== "open" && name !== "style") old.removeAttribute(name);
  for (const { name, value } of wanted.attributes)
    if (old.getAttribute(name) !== value && !(name === "open" && old.nodeName === "DETAILS")) old.setAttribute(name, value);
  if (old.matches("input, textarea")) {
    const saved = wanted.nodeName === "TEXTAREA" ? wanted.textContent : wanted.getAttribute("value") || "";
    const untouched = old.value === (old.dataset.saved ?? old.defaultValue);
    if (old.nodeName === "TEXTAREA") old.textContent = saved;
    old.dataset.saved = saved;
    if (old.type === "checkbox") old.checked = wanted.hasAttribute("checked");
    // What is confirmed by a button, as a new name is, stays until then.
    else if (untouched || (document.activeElement !== old && old.dataset.kind)) old.value = saved;
    return;
  }
  morph(old, wanted);
  if (old.nodeName === "SELECT") old.value = savedChoice(old);
}
