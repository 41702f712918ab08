"use strict";
// Sorting and filtering of the table of traits; without this script the table stands as it was written.
(function () {
  const table = document.getElementById("trait-table");
  const tools = document.querySelector(".tools");
  const grouped = document.getElementById("grouped");
  const outsideOnly = document.getElementById("outside-only");
  const told = document.getElementById("sorted");
  const bodies = Array.from(table.tBodies);
  const kinds = bodies.map((body) => body.querySelector(".kind"));
  const rows = bodies.map((body) => Array.from(body.querySelectorAll(".row")));
  const pool = document.createElement("tbody");
  pool.setAttribute("role", "rowgroup");
  let column = -1;
  let up = true;

  function key(row) {
    return row.cells[column].dataset.sort;
  }

  function compare(a, b) {
    const one = key(a);
    const two = key(b);
    // what is unknown comes last, whichever way
    if (one === "" || two === "") return (one === "" ? 1 : 0) - (two === "" ? 1 : 0);
    const numeric = table.tHead.rows[0].cells[column].dataset.kind === "number";
    const order = numeric ? Number(one) - Number(two) : one.localeCompare(two);
    return up ? order : -order;
  }

  function sorted(list) {
    return column < 0 ? list : list.slice().sort(compare);
  }

  function lay() {
    if (grouped.checked) {
      pool.remove();
      bodies.forEach((body, i) => {
        body.append(kinds[i], ...sorted(rows[i]));
        table.append(body);
      });
    } else {
      bodies.forEach((body) => body.remove());
      pool.replaceChildren(...sorted(rows.flat()));
      table.append(pool);
    }
    table.classList.toggle("outside-only", outsideOnly.checked);
  }

  function sortBy(index, head, name) {
    up = index === column ? !up : true;
    column = index;
    for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", up ? "ascending" : "descending");
    told.textContent = name + ": " + (up ? tools.dataset.up : tools.dataset.down);
    lay();
  }

  Array.from(table.tHead.rows[0].cells).forEach((head, index) => {
    if (!head.dataset.kind) return;
    const button = document.createElement("button");
    const name = head.textContent;
    button.type = "button";
    button.textContent = name;
    button.addEventListener("click", () => sortBy(index, head, name));
    head.replaceChildren(button);
  });
  grouped.addEventListener("change", lay);
  outsideOnly.addEventListener("change", lay);
  tools.hidden = false;
})();
