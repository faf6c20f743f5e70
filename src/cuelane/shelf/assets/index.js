"use strict";
// Shows the sessions that fit all that was chosen, and says how many there are.
(() => {
  const form = document.getElementById("filter");
  const rows = [...document.querySelectorAll(".sessions > li")];
  const count = document.getElementById("count");
  if (!form.querySelector("select")) return;
  const chosen = (name) => form.elements[name] ? form.elements[name].value : "";
  const listed = (row, name) => row.dataset[name] ? row.dataset[name].split("\n") : [];
  const show = (told) => {
    let shown = 0;
    for (const row of rows) {
      const needs = chosen("needs"), works = chosen("works"), length = chosen("length");
      const fits = (!length || Number(row.dataset.ms) <= Number(length) * 60000)
        && (!needs || (needs === "0" ? listed(row, "needs").length === 0 : listed(row, "needs").includes(needs)))
        && (!works || listed(row, "works").includes(works));
      row.hidden = !fits;
      shown += fits;
    }
    const words = shown === 0 ? count.dataset.none : shown === 1 ? count.dataset.one : count.dataset.other;
    if (told) count.textContent = words.replace("{n}", String(shown));
  };
  form.hidden = false;
  form.addEventListener("change", () => show(true));
  form.addEventListener("submit", (event) => event.preventDefault());
  // A browser may bring back what was chosen before.
  show(false);
})();
