// The shelf: what is not known yet of its plans is asked for, and plans are started, copied, renamed, deleted and
// brought back. What comes of it is shown in place, and the focus goes on to where the person would go on.
import { announce, at, send, setParts, trouble, w } from "./page.js";

// One plan after the other, since each is planned for it.
async function fill() {
  for (const row of document.querySelectorAll("[data-waits]")) {
    const name = row.dataset.waits;
    row.removeAttribute("data-waits");
    const answer = await send(`/api/shelf/${encodeURIComponent(name)}`, null);
    // It may be gone from the shelf meanwhile, or have another name.
    if (!at(row.id)) continue;
    if (answer.status === 200) setParts({ [row.id]: answer.body.row });
    else row.querySelector(".facts b").textContent = w("shelf.broken");
  }
}

// For whoever sees it; it stays until something else is done, or the page is in another language.
function show(said, go) {
  at("done").textContent = said;
  if (go) {
    const link = Object.assign(document.createElement("a"), { href: go.href, textContent: go.text });
    at("done").append(" ", link);
  }
  at("done").hidden = !said;
}
document.addEventListener("reworded", () => show(""));

const open = (name) => (location.href = `/plan/${encodeURIComponent(name)}`);

async function done(form, { act, of }) {
  const path = `/api/${act === "back" ? "deleted" : "shelf"}/${encodeURIComponent(of)}/${act}`;
  const answer = await send(path, Object.fromEntries(new FormData(form)));
  show("");
  if (answer.status !== 200) return answer.body && trouble(answer.body.error);
  if (act === "copy") return open(answer.body.name);
  const { parts, said, focus, go } = answer.body;
  trouble("");
  setParts(parts);
  announce(said);
  show(said, go);
  const target = at(focus) ?? at("main");
  target.focus();
  target.scrollIntoView({ block: "nearest" });
  return fill();
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  event.preventDefault();
  // A second press, before the first is answered, is not meant.
  if (form.dataset.sent) return;
  form.dataset.sent = "1";
  try {
    if (form.dataset.act) await done(form, form.dataset);
    else {
      const answer = await send("/api/new", Object.fromEntries(new FormData(form)));
      if (answer.status === 200) open(answer.body.name);
      else if (answer.body) trouble(answer.body.error);
    }
  } finally {
    delete form.dataset.sent;
  }
});

fill();
