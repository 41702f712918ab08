// The lesson: the page of the take, the style it is compared with, and keeping it.

import { ask, at, query, say, send, telling } from "./asking.js";

/** @type {{table: object, original: {name: string, data: Blob}|null, title: string, told?: object}|null} */
let take = null;

/** @param {NonNullable<typeof take>} chosen */
export async function showLesson(chosen) {
  take = chosen;
  at("keep-title").value = take.title;
  at("keep-date").value = at("keep-date").value || today();
  await styleChosen();
}

/** Place the take anew. */
export async function styleChosen() {
  if (!take) return;
  say("Reading it over…");
  const { url, told } = await send("api/lesson", { table: take.table, style: at("style").value });
  take.told = told;
  at("sheet").src = url;
  say(told.sentence);
}

const today = () => {
  const now = new Date();
  return new Date(now.getTime() - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
};

/** A frame as high as what is in it, so that there is one thing to scroll. */
export function fit(frame) {
  frame.addEventListener("load", () => {
    const inside = frame.contentDocument?.documentElement;
    if (!inside) return;
    const resize = () => {
      frame.style.height = `${inside.scrollHeight + 8}px`;
    };
    resize();
    new ResizeObserver(resize).observe(inside.querySelector("body"));
  });
}

fit(at("sheet"));

at("keep-it").addEventListener("click", () =>
  telling(async () => {
    if (!take) return;
    const kept = await send("api/shelf", {
      table: take.table,
      player: at("keep-player").value,
      title: at("keep-title").value,
      date: at("keep-date").value,
      told: take.told,
    });
    if (take.original) {
      const where = query({ ...kept, file: take.original.name });
      await ask(`api/take/original?${where}`, { method: "POST", body: take.original.data });
    }
    at("keep").open = false;
    say(`Kept: ${kept.player}, ${kept.name}`);
  }),
);

at("print").addEventListener("click", () => at("sheet").contentWindow?.print());
