// How a place in the plan is called when the page speaks of it: never by its path.
import { at, named } from "./page.js";

const MOST_LETTERS = 60;

const short = (text) => (text.length > MOST_LETTERS ? `${text.slice(0, MOST_LETTERS - 1)}…` : text);

// What stands in a field's label, without its unit.
export function labelOf(field) {
  const label = field.labels?.[0];
  if (!label) return field.getAttribute("aria-label") || "";
  const words = label.cloneNode(true);
  for (const part of words.querySelectorAll(".unit, select, input")) part.remove();
  return words.textContent.trim().replace(/\s+/g, " ");
}

export function calledOf(name) {
  const item = at(`p/${name}`)?.querySelector(".name");
  if (item) return short(item.textContent.trim());
  const field = at(`f/${name}`);
  if (field?.matches("textarea")) return short(field.value);
  if (field?.matches("select")) return short(field.selectedOptions[0]?.textContent ?? "");
  if (field) return short(labelOf(field));
  return short(name.split("/").at(-1));
}

// What a list of choices shows at present.
export const chosenIn = (field) => short(field.selectedOptions[0]?.textContent ?? "");

// A change of one field, as the list of steps calls it.
export function changeOf(field) {
  const value = field.type === "checkbox" ? "" : field.matches("select") ? field.selectedOptions[0]?.textContent : field.value;
  return short(value ? named(labelOf(field), value) : labelOf(field));
}
