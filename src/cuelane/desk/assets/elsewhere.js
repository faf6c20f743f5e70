// A change that was made in another program or window has been taken in. Whether it stays, or what stood here
// before comes back, is the person's choice; whichever it is, Undo reaches the other.
import { announce, at, w } from "./page.js";

const MOST_LINES = 3;

// The lines in which two texts differ, without those that both begin and end with.
function parted(before, now) {
  const [old, fresh] = [before.split("\n"), now.split("\n")];
  const most = Math.min(old.length, fresh.length);
  let head = 0;
  while (head < most && old[head] === fresh[head]) head++;
  let tail = 0;
  while (tail < most - head && old.at(-1 - tail) === fresh.at(-1 - tail)) tail++;
  return [old.slice(head, old.length - tail), fresh.slice(head, fresh.length - tail)];
}

function show(id, lines) {
  const shown = lines.slice(0, MOST_LINES);
  if (lines.length > MOST_LINES) shown.push("…");
  at(id).textContent = shown.join("\n") || w("elsewhere.nothing");
}

// One value of two: what it was called here before, and what it is now.
function valueOf(label, value) {
  const line = document.createElement("dd");
  const told = document.createElement("span");
  told.textContent = `${label} `;
  const shown = document.createElement("bdi");
  shown.textContent = value || w("elsewhere.nothing");
  line.append(told, shown);
  return line;
}

export class Elsewhere {
  // `restore(text, edits)` puts a text of one's own back, with edits made on it, and tells whether it did;
  // `differ(before, now)` says in words what differs.
  constructor(restore, differ, after) {
    this.restore = restore;
    this.differ = differ;
    this.after = after;
    this.mine = null;
    at("keep-theirs").addEventListener("click", () => this.close(w("elsewhere.kept")));
    at("keep-mine").addEventListener("click", async () => {
      const { text, edits } = this.mine;
      if (await this.restore(text, edits)) this.close(w("elsewhere.restored"));
    });
  }

  // `mine` is what was seen here before; `edits` what was then done on it, null if nothing was, and `now` the
  // text as it stands. What was done takes the place of an older text that is offered: that one Undo reaches.
  offer(mine, now, edits = null) {
    if (mine === now) return;
    if (edits && this.mine?.text === mine) this.mine.edits.push(...edits);
    else if (edits || !this.mine) this.mine = { text: mine, edits: [...(edits ?? [])] };
    const [old, fresh] = parted(this.mine.text, now);
    show("elsewhere-before", old);
    show("elsewhere-now", fresh);
    this.inWords(this.mine, now);
    at("elsewhere").hidden = false;
    announce(w("elsewhere.title"));
  }

  // The lines are a file's; what they mean is said as the form says it. Where nothing can be said, the lines
  // are shown.
  async inWords(mine, now) {
    const rows = await this.differ(mine.text, now);
    if (this.mine !== mine || !rows) return;
    at("elsewhere-what").replaceChildren(
      ...rows.flatMap(({ what, before, now: after }) => {
        const name = document.createElement("dt");
        name.textContent = what;
        return [name, valueOf(w("elsewhere.before"), before), valueOf(w("elsewhere.now"), after)];
      }),
    );
    at("elsewhere-text").open = !rows.length;
  }

  close(said) {
    const focused = at("elsewhere").contains(document.activeElement);
    this.mine = null;
    at("elsewhere").hidden = true;
    announce(said);
    if (focused) this.after();
  }
}
