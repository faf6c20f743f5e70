// Files dropped on a part of a page.

// Files dropped on an element go to `take`, all at once.
export function dropZone(element, take) {
  for (const kind of ["dragover", "dragenter"])
    element.addEventListener(kind, (event) => {
      event.preventDefault();
      element.classList.add("over");
    });
  element.addEventListener("dragleave", (event) => element.contains(event.relatedTarget) || element.classList.remove("over"));
  element.addEventListener("drop", (event) => {
    event.preventDefault();
    element.classList.remove("over");
    if (event.dataTransfer.files.length) take([...event.dataTransfer.files]);
  });
}

// A file dropped on an element, or chosen in a file input, goes to `take`.
export function fileZone(element, input, take) {
  dropZone(element, ([file]) => take(file));
  input.addEventListener("change", () => {
    if (input.files[0]) take(input.files[0]);
    input.value = "";
  });
}

// Files put into an input, as if they had been chosen there.
export function putInto(input, files) {
  const held = new DataTransfer();
  for (const file of files) held.items.add(file);
  input.files = held.files;
  input.dispatchEvent(new Event("change", { bubbles: true }));
}

// A file that misses its place must not be opened instead of the page.
for (const kind of ["dragover", "drop"]) window.addEventListener(kind, (event) => event.preventDefault());
