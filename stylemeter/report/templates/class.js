"use strict";
// Sorting and finding in the table of a class; without this script it stands in the order of the register.
(function () {
  const table = document.querySelector("table.class");
  const tools = document.querySelector(".tools");
  if (!table || !tools) return;
  const find = document.getElementById("find");
  const only = document.getElementById("only");
  const told = document.getElementById("told");
  const body = table.tBodies[0];
  const rows = Array.from(body.rows);
  let column = 0;
  let up = true;

  function key(row) {
    const cell = row.cells[column];
    return cell ? cell.dataset.sort || "" : "";
  }

  function compare(a, b) {
    const one = key(a);
    const two = key(b);
    // what is unknown comes last, whichever way
    if (one === "" || two === "") return (one === "" ? 1 : 0) - (two === "" ? 1 : 0);
    const order = table.tHead.rows[0].cells[column].dataset.kind === "text" ? one.localeCompare(two) : one - two;
    return up ? order : -order;
  }

  function lay() {
    const wanted = find.value.trim().toLowerCase();
    body.replaceChildren(...rows.slice().sort(compare));
    for (const row of rows) {
      const named = row.cells[0].textContent.toLowerCase().includes(wanted);
      row.hidden = !named || (only.value !== "" && row.dataset.group !== only.value);
    }
  }

  Array.from(table.tHead.rows[0].cells).forEach((head, index) => {
    const button = document.createElement("button");
    const name = head.textContent;
    button.type = "button";
    button.textContent = name;
    button.addEventListener("click", () => {
      up = index === column ? !up : head.dataset.kind !== "number";
      column = index;
      for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", up ? "ascending" : "descending");
      told.textContent = name + ": " + (up ? tools.dataset.up : tools.dataset.down);
      lay();
    });
    head.replaceChildren(button);
  });
  find.addEventListener("input", lay);
  only.addEventListener("change", lay);
  tools.hidden = false;
})();
