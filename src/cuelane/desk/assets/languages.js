// Another language of the page, put in place without loading it anew: what is being typed, recorded or heard
// stays as it is. The elements stay; only their words are exchanged.
import { announce, at, language, trouble, useWords, w } from "./page.js";

const YEAR_S = 365 * 24 * 3600;
const WORDED = ["aria-label", "placeholder", "title", "lang", "label", "aria-current", "data-does"];

const counts = (node) => node.nodeType === Node.ELEMENT_NODE || (node.nodeType === Node.TEXT_NODE && node.nodeValue.trim());
const kindOf = (node) => (node.nodeType === Node.ELEMENT_NODE ? node.nodeName + (node.id ? `#${node.id}` : "") : "text");

// What scripts have filled in has no like in the fresh page; each view words that again itself.
function reword(old, made) {
  for (const name of WORDED) {
    if (made.hasAttribute(name)) old.setAttribute(name, made.getAttribute(name));
    else if (name === "aria-current") old.removeAttribute(name);
  }
  const [mine, fresh] = [[...old.childNodes].filter(counts), [...made.childNodes].filter(counts)];
  const alike = mine.length === fresh.length && mine.every((node, n) => kindOf(node) === kindOf(fresh[n]));
  mine.forEach((node, n) => {
    if (node.nodeType === Node.TEXT_NODE) {
      if (alike && node.nodeValue !== fresh[n].nodeValue && old.nodeName !== "TEXTAREA") node.nodeValue = fresh[n].nodeValue;
      return;
    }
    const like = alike ? fresh[n] : node.id && fresh.find((one) => one.id === node.id);
    if (like && node.nodeName !== "SCRIPT") reword(node, like);
  });
}

async function speak(code) {
  document.cookie = `cuelane-language=${code}; path=/; max-age=${YEAR_S}; samesite=strict`;
  let page;
  try {
    // As a page, which says in its language too what is wrong where that is all there is to see.
    const answer = await fetch(location.href, { headers: { accept: "text/html" } });
    if (!answer.headers.get("content-type")?.startsWith("text/html")) throw new Error("stopped");
    page = new DOMParser().parseFromString(await answer.text(), "text/html");
  } catch {
    return trouble(w("top.offline"));
  }
  useWords(JSON.parse(page.getElementById("words").textContent));
  document.documentElement.lang = page.documentElement.lang;
  reword(document.body, page.body);
  document.dispatchEvent(new Event("reworded"));
  announce(w("top.spoken"));
}

document.addEventListener("click", (event) => {
  const button = event.target.closest?.("[data-language]");
  if (button && button.dataset.language !== language()) speak(button.dataset.language);
});
