"use strict";
// Tables: each heading becomes a button, as the W3C's pattern of sortable tables has it.
const order = new Intl.Collator("en", { numeric: true });
const keyOf = (row, column) => row.cells[column].dataset.key ?? row.cells[column].textContent;
for (const table of document.querySelectorAll("table.sortable")) {
  const heads = [...table.tHead.rows[0].cells];
  heads.forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    // Browsers paint no button in a heading that they repeat on the next sheet: paper has the words.
    const words = document.createElement("span");
    words.className = "paper-words";
    words.append(...head.childNodes);
    button.append(...[...words.childNodes].map((node) => node.cloneNode(true)));
    head.append(words, button);
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      heads.forEach((other) => other.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      const body = table.tBodies[0];
      const isNumber = head.classList.contains("num");
      const rows = [...body.rows].sort((a, b) => {
        const [first, second] = [keyOf(a, column), keyOf(b, column)];
        if (first === "" || second === "") return (first === "") - (second === "");
        const sign = isNumber ? first - second : order.compare(first, second);
        return down ? -sign : sign;
      });
      body.append(...rows);
    });
  });
}

// The map: layers by their boxes, zoom by buttons, on the models of the library that draws it.
const model = (name) => window.Bokeh.documents[0].get_model_by_name(name);
for (const box of document.querySelectorAll("[data-layer]")) {
  const show = () => {
    for (let k = 0, part; (part = model(`${box.dataset.layer}-${k}`)); k += 1) {
      part.visible = box.checked;
    }
  };
  box.addEventListener("change", show);
}
for (const button of document.querySelectorAll("[data-zoom]")) {
  button.addEventListener("click", () => {
    const factor = Number(button.dataset.zoom);
    for (const range of [model("map-x"), model("map-y")]) {
      if (factor === 0) {
        range.reset();
      } else {
        const [middle, half] = [(range.start + range.end) / 2, ((range.end - range.start) / 2) * factor];
        range.setv({ start: middle - half, end: middle + half });
      }
    }
  });
}
document.documentElement.classList.add("scripted");
