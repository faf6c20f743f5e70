// The score follows what is saved; it is fetched by itself, so that typing never waits for it.
import { at, send, setParts } from "./page.js";
import { laneWidths } from "./cues.js";

const CALM_MS = 300;

export class Score {
  constructor(api) {
    this.api = api;
    this.shown = "";
    this.wanted = "";
    this.timer = 0;
    at("score-box").addEventListener("toggle", () => this.fetchSoon(0));
  }

  // `version` is anything that changes with the session.
  follow(version) {
    this.wanted = version;
    this.fetchSoon(CALM_MS);
  }

  // The same session is worded anew.
  again() {
    this.shown = "";
  }

  fetchSoon(ms) {
    clearTimeout(this.timer);
    if (this.wanted === this.shown || !at("score-box").open) return;
    this.timer = setTimeout(() => this.fetch(), ms);
  }

  async fetch() {
    const version = this.wanted;
    const answer = await send(`${this.api}/score`, null);
    if (answer.status !== 200) return;
    this.shown = version;
    setParts({ score: answer.body.score });
    laneWidths();
  }
}
