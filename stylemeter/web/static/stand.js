// The stand: drop, paste or record a take, and say whether it is what was played.

import { ask, at, element, query, say, telling } from "./asking.js";
import { join, move, remove, spoken, transpose } from "./notes.js";
import { openRecorder } from "./recorder.js";

/** What is on the stand: where it came from, its table, and the tables before each change. */
let now = null;
let chosen = -1;
let onYes = async () => {};

/** Files waiting, so that thirty dropped at once are read one after the other. */
const waiting = [];
let reading = false;

/** @param {{onYes: (take: object) => Promise<void>}} wishes */
export function openStand(wishes) {
  onYes = wishes.onYes;
  const drop = at("drop");
  at("files").addEventListener("change", () => {
    take([...at("files").files]);
    at("files").value = "";
  });
  for (const kind of ["dragenter", "dragover"]) {
    drop.addEventListener(kind, (event) => {
      event.preventDefault();
      drop.classList.add("over");
    });
  }
  for (const kind of ["dragleave", "drop"]) drop.addEventListener(kind, () => drop.classList.remove("over"));
  drop.addEventListener("drop", (event) => {
    event.preventDefault();
    take([...event.dataTransfer.files]);
  });
  // a file dropped beside the area must not take the page's place
  for (const kind of ["dragover", "drop"]) window.addEventListener(kind, (event) => event.preventDefault());
  at("read-pasted").addEventListener("click", () => {
    const text = at("pasted").value;
    if (text.trim()) take([new File([text], "pasted.tab", { type: "text/plain" })], { kind: "tab" });
  });
  at("again").addEventListener("click", () => telling(readAgain));
  at("to-lesson").addEventListener("click", () =>
    telling(() => onYes({ table: now.table, original: now.original, title: now.table.solo.title || now.name })),
  );
  at("staff").addEventListener("keydown", byKey);
  at("staff").addEventListener("click", (event) => {
    const note = nearest(event);
    if (note) choose(Number(note.dataset.note));
  });
  for (const button of document.querySelectorAll("[data-do]")) {
    button.addEventListener("click", () => telling(() => change(button.dataset.do)));
  }
  openRecorder((file, told) => take([file], told));
  document.addEventListener("put-on-stand", (event) => show(event.detail, event.detail.name, null, {}));
}

/** Take files in; what was told of them goes with each. */
function take(files, told = {}) {
  for (const file of files) {
    const line = element("li", `${file.name}: waiting`);
    at("queue").append(line);
    waiting.push({ file, told, line });
  }
  telling(readOn);
}

async function readOn() {
  if (reading) return;
  reading = true;
  const stop = element("button", "Stop reading", { type: "button" });
  if (waiting.length > 2) at("queue").before(stop);
  stop.addEventListener("click", () => {
    for (const { file, line } of waiting.splice(0)) line.textContent = `${file.name}: left unread`;
  });
  try {
    while (waiting.length) {
      const { file, told, line } = waiting.shift();
      line.textContent = `${file.name}: reading…`;
      try {
        await readFile(file, told, line);
      } catch (error) {
        line.textContent = error.message.startsWith(file.name) ? error.message : `${file.name}: ${error.message}`;
        line.classList.add("trouble");
        say(line.textContent);
      }
    }
  } finally {
    reading = false;
    stop.remove();
  }
}

async function readFile(file, told, line) {
  const { solos, left_out: leftOut } = await ask(`api/read?${query({ name: file.name, ...told })}`, {
    method: "POST",
    body: file,
  });
  line.textContent = `${file.name}: `;
  solos.forEach((solo, i) => {
    const title = solo.table.solo.title || (solos.length > 1 ? `tune ${i + 1}` : "look at it");
    const open = element("button", solos.length > 1 ? title : "Look at it", { type: "button" });
    open.addEventListener("click", () => show(solo, file.name, file, told));
    line.append(open, " ");
  });
  if (leftOut) line.append(`and ${leftOut} more tunes, not shown`);
  if (!waiting.length) show(solos[0], file.name, file, told);
}

/** Put a solo on the stand. */
function show(solo, name, file, told) {
  now = {
    name: name.replace(/\.[^.]*$/, ""),
    table: solo.table,
    before: [],
    told,
    original: file ? { name: file.name, data: file } : null,
  };
  chosen = -1;
  at("check").hidden = false;
  draw(solo);
  at("check-title").scrollIntoView({ block: "start" });
  say(`${solo.table.notes.length} notes read`);
}

/** Show what is understood. */
function draw({ table, picture, remarks }) {
  const { solo } = table;
  at("w-part").value = solo.part || "";
  at("w-key").value = solo.key ? solo.key.name : "";
  at("w-meter").value = solo.meter.length ? `${solo.meter[0][1]}/${solo.meter[0][2]}` : "";
  at("w-tempo").value = solo.tempo ? Math.round(solo.tempo * 10) / 10 : "";
  at("w-chords").value = now.told.chords || "";
  const parts = at("parts");
  parts.replaceChildren(...(solo.parts || []).map((part) => element("option", "", { value: part })));
  at("remarks").hidden = !remarks.length;
  at("remarks").querySelector("summary").textContent = remarks.length === 1 ? "One remark" : `${remarks.length} remarks`;
  at("remarks").querySelector("ul").replaceChildren(...remarks.map((text) => element("li", text)));
  at("staff").innerHTML = picture; // our own drawing, every word in it escaped by the server
  choose(Math.min(chosen, table.notes.length - 1));
}

/** What the page's words say of how to read. */
function words() {
  const { solo } = now.table;
  const given = {
    key: at("w-key").value,
    meter: at("w-meter").value,
    chords: at("w-chords").value,
  };
  const meter = solo.meter.length ? `${solo.meter[0][1]}/${solo.meter[0][2]}` : "";
  if (given.key === (solo.key ? solo.key.name : "")) delete given.key;
  if (given.meter === meter) delete given.meter;
  return given;
}

/** Read again as the words say: the corrected notes, or the file itself where the part or the tempo changed. */
async function readAgain() {
  const { solo } = now.table;
  const part = at("w-part").value;
  const tempo = at("w-tempo").value;
  const fromFile = part !== (solo.part || "") || (tempo && Number(tempo) !== Math.round((solo.tempo || 0) * 10) / 10);
  const given = words();
  now.told = { ...now.told, ...given };
  if (fromFile && now.original) {
    if (now.before.length && !window.confirm("Reading the file again loses your changes to its notes. Go on?")) return;
    const told = { ...now.told, part, tempo };
    await readFile(now.original.data, told, element("li"));
    return;
  }
  await redraw(now.table, given);
  say("Read again as you say");
}

/** Have a table read and drawn. */
async function redraw(table, given = {}) {
  const { solos } = await ask(`api/read?${query({ name: now.name, kind: "json", ...given })}`, {
    method: "POST",
    body: JSON.stringify(table),
  });
  now.table = solos[0].table;
  draw(solos[0]);
}

const CHANGES = {
  up: (table, i) => transpose(table, i, 1),
  down: (table, i) => transpose(table, i, -1),
  earlier: (table, i) => move(table, i, "-1/4"),
  later: (table, i) => move(table, i, "1/4"),
  join,
  remove,
};

async function change(what) {
  if (!now) return;
  if (what === "undo") {
    const last = now.before.pop();
    if (last) await redraw(last);
    return;
  }
  if (chosen < 0) {
    say("Choose a note first");
    return;
  }
  const after = CHANGES[what](now.table, chosen);
  if (after === now.table) {
    say("That can't be done to this note");
    return;
  }
  if (!after.notes.length) {
    say("The last note stays");
    return;
  }
  now.before.push(now.table);
  await redraw(after);
}

function choose(i) {
  chosen = i;
  for (const note of at("staff").querySelectorAll("[data-note]")) {
    const own = now.table.notes[Number(note.dataset.note)];
    note.classList.toggle("chosen", Number(note.dataset.note) === i);
    note.classList.toggle("unsure", typeof own?.confidence === "number" && own.confidence < 0.5);
  }
  at("chosen").textContent = i < 0 ? "No note chosen" : spoken(now.table, i);
}

/** The note nearest to where was pressed: heads are small and fingers are not. */
function nearest({ clientX: x, clientY: y }) {
  let found = null;
  let least = 40;
  for (const note of at("staff").querySelectorAll("[data-note]")) {
    const { left, right, top, bottom } = note.getBoundingClientRect();
    const far = Math.hypot(Math.max(left - x, 0, x - right), Math.max(top - y, 0, y - bottom) / 2);
    if (far < least) {
      least = far;
      found = note;
    }
  }
  return found;
}

function byKey(event) {
  const last = now.table.notes.length - 1;
  const { key, shiftKey: shift } = event;
  const what =
    (event.ctrlKey || event.metaKey) && key.toLowerCase() === "z" ? "undo"
    : shift && key === "ArrowLeft" ? "earlier"
    : shift && key === "ArrowRight" ? "later"
    : key === "ArrowUp" ? "up"
    : key === "ArrowDown" ? "down"
    : key.toLowerCase() === "j" ? "join"
    : key === "Delete" || key === "Backspace" ? "remove"
    : "";
  if (what) telling(() => change(what));
  else if (key === "ArrowLeft") choose(Math.max(0, chosen - 1));
  else if (key === "ArrowRight") choose(Math.min(last, chosen + 1));
  else if (key === "Home") choose(0);
  else if (key === "End") choose(last);
  else return;
  event.preventDefault();
}
