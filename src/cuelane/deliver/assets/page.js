"use strict";
(() => {
  const el = (id) => document.getElementById(id);
  const data = JSON.parse(el("data").textContent);
  const { rate, frames, kinds, names, intervals, cues, pips, say: said } = data;
  const fill = (sentence, values) => sentence.replace(/\{(\w+)\}/g, (slot, name) => (name in values ? values[name] : slot));
  const plural = new Intl.PluralRules(data.language);
  const audio = el("audio");
  const now = el("now"), strip = el("strip"), list = el("list"), search = el("search");
  const pieces = new Map();
  for (const button of document.querySelectorAll("#score button")) {
    const index = Number(button.dataset.i);
    if (!pieces.has(index)) pieces.set(index, []);
    pieces.get(index).push(button);
  }
  const lines = list ? [...list.querySelectorAll("button")] : [];
  document.documentElement.classList.add("js");
  audio.controls = false;

  const clockOf = (seconds) => {
    const whole = Math.max(0, Math.floor(seconds)), h = Math.floor(whole / 3600), m = Math.floor(whole / 60) % 60;
    const two = (n) => String(n).padStart(2, "0");
    return h ? `${h}:${two(m)}:${two(whole % 60)}` : `${m}:${two(whole % 60)}`;
  };
  const inWords = (seconds) => {
    const s = Math.round(seconds), m = Math.floor(s / 60);
    if (!m) return `${s} s`;
    return s % 60 ? `${m} min ${s % 60} s` : `${m} min`;
  };
  const start = (i) => intervals[i][0], end = (i) => intervals[i][1];
  const kind = (i) => kinds[intervals[i][2]], name = (i) => names[intervals[i][3]];
  const long = (i) => inWords((end(i) - start(i)) / rate);

  // The last row that starts at or before `sample`: -1 before the first.
  const lastBefore = (rows, sample) => {
    let low = 0, high = rows.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (rows[middle][0] <= sample) low = middle + 1; else high = middle;
    }
    return low - 1;
  };
  const intervalAt = (sample) => {
    const i = lastBefore(intervals, sample);
    return i >= 0 && sample < end(i) ? i : -1;
  };
  const text = (node, value) => { if (node.textContent !== value) node.textContent = value; };

  let shown = null, spoken = null, second = null, hand = null, rowNeedle = null;

  const draw = (i) => {
    const measure = el("measure");
    measure.replaceChildren();
    hand = null;
    if (i < 0) return;
    const from = start(i), length = end(i) - from;
    const add = (classes, at, width) => {
      const mark = document.createElement("i");
      mark.className = classes;
      mark.style.left = `${(100 * (at - from)) / length}%`;
      if (width) mark.style.width = `${(100 * width) / length}%`;
      measure.append(mark);
      return mark;
    };
    if (intervals[i][5]) add("settle", from, intervals[i][5]);
    for (let n = Math.max(0, lastBefore(cues, from)); n < cues.length && cues[n][0] < end(i); n++)
      if (cues[n][0] >= from) add("c", cues[n][0], Math.min(cues[n][1], end(i)) - cues[n][0]);
    for (let n = Math.max(0, lastBefore(pips, from)); n < pips.length && pips[n][0] <= end(i); n++)
      if (pips[n][0] > from) add(pips[n][1] ? "p long" : "p", pips[n][0]);
    hand = add("hand", from);
  };

  // Names stand isolated, so that one written from right to left does not carry the length beside it along.
  const showNext = (i) => {
    const parts = [], between = fill(said.then, { items: "", last: "" });
    for (let n = i + 1; n < intervals.length && parts.length < 8; n++) {
      const isolated = document.createElement("bdi");
      isolated.textContent = name(n);
      const [before, after] = fill(said.item, { length: long(n) }).split("{name}");
      parts.push(parts.length ? between : "", before, isolated, after);
      if (kind(n) === "work" || kind(n) === "talk") break;
    }
    el("next").replaceChildren(...(parts.length ? parts : [said.the_end]));
    el("next").parentNode.hidden = i >= intervals.length;
  };

  const show = (i) => {
    for (const button of pieces.get(shown) || []) button.removeAttribute("aria-current");
    for (const button of pieces.get(i) || []) button.setAttribute("aria-current", "true");
    shown = i;
    now.dataset.kind = i < 0 ? "rest" : kind(i);
    now.dataset.interval = String(i);
    text(el("kind"), i < 0 ? said.done : data.words[intervals[i][2]]);
    el("kind").classList.toggle("visually-hidden", i >= 0 && name(i) === data.words[intervals[i][2]]);
    const place = i < 0 || names[intervals[i][4]] === name(i) ? "" : names[intervals[i][4]];
    text(el("where"), place);
    text(el("name"), i < 0 ? data.title : name(i));
    now.classList.toggle("wordy", el("name").textContent.length > 24);
    text(el("mini-name"), i < 0 ? said.done : name(i));
    showNext(i < 0 ? intervals.length : i);
    text(el("announce"), i < 0 ? said.end_of_session : fill(said.now, { kind: data.words[intervals[i][2]], name: name(i), length: long(i), place }));
    draw(i);
    if ("mediaSession" in navigator && "MediaMetadata" in window)
      navigator.mediaSession.metadata = new MediaMetadata({ title: i < 0 ? data.title : name(i), artist: data.title });
  };

  const moveRowNeedle = (i, sample) => {
    const row = (pieces.get(i) || []).find((button) => {
      const bounds = button.closest(".row").dataset;
      return sample >= Number(bounds.from) && sample < Number(bounds.to);
    });
    const track = row ? row.closest(".track") : null;
    if (!track) { if (rowNeedle) rowNeedle.remove(); return; }
    if (!rowNeedle) { rowNeedle = document.createElement("div"); rowNeedle.className = "needle"; }
    if (rowNeedle.parentNode !== track) track.append(rowNeedle);
    const bounds = track.closest(".row").dataset;
    rowNeedle.style.left = `${(100 * (sample - bounds.from)) / bounds.span}%`;
  };

  const say = (sample) => {
    if (!lines.length) return;
    let n = lastBefore(cues, sample);
    // A cue stays to be read for a second after its last word, unless another begins.
    if (n >= 0 && sample > cues[n][1] + rate) n = -1 - n;
    if (n === spoken) return;
    const old = lines[spoken < 0 ? -1 - spoken : spoken];
    if (old) old.removeAttribute("aria-current");
    spoken = n;
    const at = n < 0 ? -1 - n : n, line = sample >= 0 && cues.length && lastBefore(cues, sample) >= 0 ? lines[at] : null;
    text(el("said"), n >= 0 && line ? line.querySelector(".text").textContent : "");
    if (!line) return;
    line.setAttribute("aria-current", "true");
    if (el("follow").checked && !search.value && !document.activeElement?.closest("#list")) {
      const box = list.getBoundingClientRect(), place = line.getBoundingClientRect();
      list.scrollTop += place.top - box.top - list.clientHeight / 3;
    }
  };

  const render = () => {
    const sample = Math.min(Math.round(audio.currentTime * rate), frames), i = intervalAt(sample);
    if (i !== shown) show(i);
    const left = i < 0 ? 0 : Math.ceil((end(i) - sample) / rate);
    text(el("count"), i < 0 ? "" : left < 60 ? String(left) : clockOf(left));
    text(el("unit"), i < 0 ? "" : left < 60 ? said.seconds_left[plural.select(left)] || said.seconds_left.other : said.left);
    text(el("mini-count"), i < 0 ? "" : left < 60 ? String(left) : clockOf(left));
    if (hand) hand.style.left = `${(100 * (sample - start(i))) / (end(i) - start(i))}%`;
    el("needle").style.left = `${(100 * sample) / frames}%`;
    moveRowNeedle(i, sample);
    say(sample);
    el("clock").setAttribute("datetime", `PT${(sample / rate).toFixed(3)}S`);
    const whole = Math.floor(sample / rate);
    if (whole !== second) {
      second = whole;
      text(el("clock"), clockOf(whole));
      strip.setAttribute("aria-valuenow", String(whole));
      strip.setAttribute("aria-valuetext", fill(said.position, { clock: clockOf(whole), name: i < 0 ? said.at_end : name(i) }));
    }
  };
  const loop = () => { render(); if (!audio.paused) requestAnimationFrame(loop); };

  // Half a millisecond in, so that a player that rounds its clock down does not land in the interval before.
  const seek = (sample) => {
    audio.currentTime = Math.max(0, Math.min(sample, frames - 1)) / rate + (sample > 0 ? 0.0005 : 0);
    render();
  };
  const here = () => Math.round(audio.currentTime * rate);
  const trouble = () => { el("trouble").hidden = false; };
  const toggle = () => { if (audio.paused) audio.play().catch(() => { if (audio.error) trouble(); }); else audio.pause(); };
  const step = (by) => {
    const at = here(), i = intervalAt(at) < 0 ? intervals.length : intervalAt(at);
    if (by > 0) seek(i + 1 < intervals.length ? start(i + 1) : frames);
    else seek(start(Math.max(0, i < intervals.length && at - start(i) > 2 * rate ? i : i - 1)));
  };
  const mute = () => { audio.muted = !audio.muted; };

  let lock = null;
  const keepAwake = async () => {
    try { if ("wakeLock" in navigator && !audio.paused && !document.hidden) lock = await navigator.wakeLock.request("screen"); }
    catch { lock = null; }
  };
  audio.addEventListener("play", () => { text(el("play"), said.pause); text(el("mini-play"), said.pause); keepAwake(); requestAnimationFrame(loop); });
  audio.addEventListener("pause", () => {
    text(el("play"), said.play); text(el("mini-play"), said.play); render();
    if (lock) { lock.release().catch(() => {}); lock = null; }
  });
  document.addEventListener("visibilitychange", keepAwake);
  for (const event of ["seeking", "seeked", "timeupdate", "ended", "loadedmetadata"]) audio.addEventListener(event, render);
  audio.addEventListener("error", trouble);
  if (audio.error) trouble();
  audio.addEventListener("volumechange", () => {
    el("mute").setAttribute("aria-pressed", String(audio.muted));
    el("volume").value = String(Math.round(audio.volume * 100));
  });
  el("volume").addEventListener("input", () => { audio.volume = el("volume").value / 100; audio.muted = false; });

  const room = (wanted) => {
    document.documentElement.classList.toggle("room", wanted);
    el("room").setAttribute("aria-pressed", String(wanted));
    for (const node of document.querySelectorAll(".skip, .masthead, .sheet, .cues, .notes, .colophon")) node.inert = wanted;
    if (wanted && document.documentElement.requestFullscreen) document.documentElement.requestFullscreen().catch(() => {});
    if (!wanted && document.fullscreenElement) document.exitFullscreen().catch(() => {});
  };
  const isRoom = () => document.documentElement.classList.contains("room");
  document.addEventListener("fullscreenchange", () => { if (!document.fullscreenElement && isRoom()) room(false); });

  const does = {
    play: toggle, "mini-play": toggle, back: () => seek(here() - 5 * rate), forward: () => seek(here() + 5 * rate),
    previous: () => step(-1), following: () => step(1), mute, room: () => room(!isRoom()),
  };
  for (const [id, action] of Object.entries(does)) el(id).addEventListener("click", action);
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-at], [data-i]");
    if (button) seek(button.dataset.at ? Number(button.dataset.at) : start(Number(button.dataset.i)));
  });

  const drag = (event) => {
    const box = strip.getBoundingClientRect();
    seek(Math.round((frames * Math.min(Math.max(event.clientX - box.left, 0), box.width)) / box.width));
  };
  strip.addEventListener("pointerdown", (event) => { if (event.button === 0) { strip.setPointerCapture(event.pointerId); drag(event); } });
  strip.addEventListener("pointermove", (event) => { if (strip.hasPointerCapture(event.pointerId)) drag(event); });

  // One stop for the Tab key in each long list; arrows move inside it.
  const rove = (container, rowed) => {
    if (!container) return;
    const visible = () => [...container.querySelectorAll("button")].filter((button) => !button.parentNode.hidden);
    const to = (button) => {
      for (const old of container.querySelectorAll('[tabindex="0"]')) old.tabIndex = -1;
      button.tabIndex = 0;
      button.focus();
    };
    const first = container.querySelector("button");
    if (first) first.tabIndex = 0;
    container.addEventListener("keydown", (event) => {
      const from = event.target.closest("button"), all = visible(), at = all.indexOf(from);
      if (at < 0 || event.altKey || event.ctrlKey || event.metaKey) return;
      const rows = (sign) => {
        if (!rowed) return all[at + sign];
        const mine = from.closest(".row");
        const other = sign > 0 ? all.slice(at).find((b) => b.closest(".row") !== mine) : all.slice(0, at).reverse().find((b) => b.closest(".row") !== mine);
        return other && other.closest(".row").querySelector("button");
      };
      const wanted = { ArrowRight: all[at + 1], ArrowLeft: all[at - 1], ArrowDown: rows(1), ArrowUp: rows(-1), Home: all[0], End: all[all.length - 1] };
      if (!(event.key in wanted)) return;
      event.preventDefault();
      event.stopPropagation();
      if (wanted[event.key]) to(wanted[event.key]);
    });
    container.addEventListener("focusin", (event) => {
      const button = event.target.closest("button");
      if (button && button.tabIndex !== 0) to(button);
    });
  };
  rove(el("score"), true);
  rove(list, false);

  const plainly = (value) => value.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
  let haystack = null;
  const find = () => {
    haystack = haystack || lines.map((line) => plainly(line.textContent));
    const words = plainly(search.value).split(/\s+/).filter(Boolean);
    let count = 0;
    lines.forEach((line, n) => {
      const hit = words.every((word) => haystack[n].includes(word));
      if (line.parentNode.hidden === hit) line.parentNode.hidden = !hit;
      count += hit;
    });
    text(el("found"), words.length ? fill(said.found, { n: count, total: lines.length }) : "");
    const first = lines.find((line) => !line.parentNode.hidden);
    if (first) { for (const old of list.querySelectorAll('[tabindex="0"]')) old.tabIndex = -1; first.tabIndex = 0; }
  };
  if (search) search.addEventListener("input", find);

  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey || event.defaultPrevented) return;
    const target = event.target, typing = target.matches("input, textarea, select"), pressing = target.closest("button, a");
    if (event.key === "Escape") {
      if (isRoom()) room(false);
      else if (target === search && search.value) { search.value = ""; find(); }
      return;
    }
    if (target === strip) {
      const by = { ArrowLeft: -5, ArrowDown: -5, ArrowRight: 5, ArrowUp: 5, PageDown: -30, PageUp: 30 }[event.key];
      if (by || event.key === "Home" || event.key === "End") {
        event.preventDefault();
        seek(by ? here() + by * rate : event.key === "Home" ? 0 : frames);
        return;
      }
    }
    if (typing || !el("single").checked) return;
    const keys = {
      " ": pressing ? null : toggle, ArrowLeft: does.back, ArrowRight: does.forward, "[": does.previous, "]": does.following,
      s: mute, r: does.room, c: search ? () => search.focus() : null,
    };
    // Where brackets need a modifier, the keys in their places do as well.
    const placed = { BracketLeft: "[", BracketRight: "]" }[event.code];
    const action = keys[placed || (event.key.length === 1 ? event.key.toLowerCase() : event.key)];
    if (action) { event.preventDefault(); action(); }
  });

  if ("mediaSession" in navigator) {
    const handlers = { play: () => audio.play(), pause: () => audio.pause(), previoustrack: does.previous, nexttrack: does.following, seekbackward: does.back, seekforward: does.forward };
    for (const [action, handler] of Object.entries(handlers))
      try { navigator.mediaSession.setActionHandler(action, handler); } catch { /* an action this browser lacks */ }
  }
  if ("IntersectionObserver" in window)
    new IntersectionObserver((seen) => { el("mini").hidden = seen[0].isIntersecting; }).observe(now);

  // A link such as page.html#t=75 opens there (Media Fragments URI 1.0, normal play time in seconds).
  const linked = /^#t=(\d{1,6}(?:\.\d{1,3})?)$/.exec(location.hash);
  if (linked) seek(Math.round(Number(linked[1]) * rate));
  render();
})();
