// The shelf: takes by player and date, progress, the class.

import { ask, at, element, query, say, send, telling } from "./asking.js";
import { fit } from "./lesson.js";

fit(at("overview"));
let job = null;

/** Show what is kept. */
export async function openShelf() {
  const takes = await ask("api/shelf");
  const players = [...new Set(takes.map((t) => t.player))];
  at("players").replaceChildren(...players.map((p) => element("option", "", { value: p })));
  const lists = players.map((player) => listOf(player, takes.filter((t) => t.player === player)));
  at("players-list").replaceChildren(...(lists.length ? lists : [element("p", "Nothing kept yet.")]));
}

function listOf(player, takes) {
  const part = element("section");
  const called = takes.at(-1).called;
  const head = element("h2", called);
  const progress = element("button", "Progress", { type: "button", disabled: takes.length < 2 });
  progress.addEventListener("click", () =>
    telling(async () => showPage((await send("api/progress", { player, style: at("shelf-style").value })).url)),
  );
  const rows = element("div", "", { className: "scroll" });
  const table = element("table");
  const names = Object.entries(window.stylemeterHabits || {});
  const headings = element("tr");
  for (const text of ["Date", "Take", ...names.map(([, title]) => title), ""]) {
    headings.append(element("th", text, { scope: "col" }));
  }
  table.append(element("thead"), element("tbody"));
  table.tHead.append(headings);
  table.tBodies[0].append(...takes.map((take) => rowOf(take, names)));
  rows.append(table);
  part.append(head, progress, rows);
  return part;
}

function rowOf(take, names) {
  const row = element("tr");
  row.append(element("td", take.date), element("td", take.title));
  for (const [name] of names) {
    const verdict = take.told.habits?.[name];
    const text = { shown: "shown", hinted: "hint", none: "·" }[verdict] ?? "";
    row.append(element("td", text, { className: verdict === "shown" ? "is-shown" : "" }));
  }
  const tools = element("td");
  const open = element("button", "Open", { type: "button" });
  open.addEventListener("click", () =>
    telling(async () => {
      const { solos } = await ask(`api/take?${query({ player: take.player, name: take.name })}`);
      document.dispatchEvent(new CustomEvent("open-take", { detail: { ...solos[0], name: take.title } }));
    }),
  );
  const away = element("button", "Delete", { type: "button" });
  away.addEventListener("click", () =>
    telling(async () => {
      if (!window.confirm(`Delete ${take.title} of ${take.called}? It can't be brought back.`)) return;
      await ask(`api/take?${query({ player: take.player, name: take.name })}`, { method: "DELETE" });
      await openShelf();
    }),
  );
  tools.append(open, " ", away);
  row.append(tools);
  return row;
}

function showPage(url) {
  const frame = at("overview");
  frame.hidden = false;
  frame.src = url;
  frame.scrollIntoView({ block: "start" });
}

/** Place every take, telling how far it is; then do something with the pages. */
async function placed(page, then) {
  const { job: number } = await send("api/class", { style: at("shelf-style").value, page });
  job = number;
  at("work").hidden = false;
  try {
    for (;;) {
      const state = await ask(`api/jobs/${number}`);
      at("work-bar").max = state.total || 1;
      at("work-bar").value = state.done;
      say(`${state.done} of ${state.total} takes placed`);
      if (state.url) {
        then(state.url);
        return;
      }
      await new Promise((resolve) => setTimeout(resolve, 250));
    }
  } finally {
    at("work").hidden = true;
    job = null;
  }
}

at("class").addEventListener("click", () => telling(() => placed("index.html", showPage)));
at("sheets").addEventListener("click", () =>
  telling(() =>
    placed("sheets.html", (url) => {
      showPage(url);
      at("overview").addEventListener("load", () => at("overview").contentWindow?.print(), { once: true });
    }),
  ),
);
at("work-stop").addEventListener("click", () =>
  telling(async () => {
    if (job) await ask(`api/jobs/${job}`, { method: "DELETE" });
  }),
);
