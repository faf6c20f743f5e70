// Plays a session that has not been rendered: the desk mixes what the player asks for.
import { announce, at, w } from "./page.js";

const clock = (s) => `${Math.floor(s / 60)}:${String(Math.floor(s % 60)).padStart(2, "0")}`;

export class Player {
  constructor(plan, stateNow) {
    this.plan = plan;
    this.stateNow = stateNow;
    this.audio = at("audio");
    this.seek = at("seek");
    this.until = Infinity;
    this.place = 0;
    at("play").addEventListener("click", () => (this.audio.paused ? this.playFrom(this.place) : this.pause()));
    this.seek.addEventListener("input", () => this.show(this.length, Number(this.seek.value)));
    this.seek.addEventListener("change", () => {
      this.place = Number(this.seek.value);
      if (!this.audio.paused) this.playFrom(this.place);
    });
    this.audio.addEventListener("play", () => (at("play").textContent = w("hear.pause")));
    this.audio.addEventListener("pause", () => (at("play").textContent = w("hear.play")));
    document.addEventListener("reworded", () => (at("play").textContent = w(this.audio.paused ? "hear.play" : "hear.pause")));
    this.audio.addEventListener("ended", () => (this.place = 0));
    this.audio.addEventListener("timeupdate", () => this.tick());
  }

  // From a second of the session on; up to another if one is given.
  playFrom(from, until = NaN) {
    const number = `${this.stateNow().number}.${this.stateNow().unspoken}`;
    this.until = Number.isNaN(until) ? Infinity : until;
    if (this.audio.dataset.number !== number) {
      this.audio.dataset.number = number;
      this.audio.src = `/sound/${encodeURIComponent(this.plan)}/${this.stateNow().number}.wav?${number}`;
    }
    this.audio.currentTime = from;
    this.audio.play().catch((error) => error.name !== "AbortError" && announce(String(error.message)));
  }

  pause() {
    this.audio.pause();
  }

  tick() {
    if (this.audio.currentTime >= this.until) {
      this.until = Infinity;
      this.audio.pause();
    }
    this.place = this.audio.currentTime;
    this.show(this.length, this.place);
    const rows = [...document.querySelectorAll(".row")];
    const now = rows.filter((row) => Number(row.dataset.start) <= this.place + 0.01).at(-1);
    for (const row of rows) row.classList.toggle("on", row === now && !this.audio.paused);
  }

  show(length, place = this.place) {
    this.length = length || 1;
    this.seek.max = Math.floor(this.length);
    if (document.activeElement !== this.seek || !this.audio.paused) this.seek.value = place;
    this.seek.setAttribute("aria-valuetext", clock(place));
    at("clock").textContent = clock(place);
    at("needle").style.setProperty("left", `${(100 * Math.min(place, this.length)) / this.length}%`);
  }
}
