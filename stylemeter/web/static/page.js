// The page: three places, one shown at a time.

import { ask, at, setting, telling } from "./asking.js";
import { showLesson, styleChosen } from "./lesson.js";
import { openShelf } from "./shelf.js";
import { openStand } from "./stand.js";

const PLACES = ["stand", "lesson", "shelf"];

/** @param {string} name */
export function go(name) {
  for (const place of PLACES) {
    at(place).hidden = place !== name;
    const button = document.querySelector(`nav [data-place="${place}"]`);
    if (place === name) button.setAttribute("aria-current", "page");
    else button.removeAttribute("aria-current");
  }
  at("place").focus();
  window.scrollTo(0, 0);
  if (name === "shelf") telling(openShelf);
}

async function start() {
  const { styles, habits } = await ask("api/styles");
  for (const id of ["style", "shelf-style"]) {
    const select = at(id);
    if (id === "style") select.append(new Option("the style it is most like", ""));
    for (const style of styles) select.append(new Option(style.style, style.name));
    select.value = setting.get(id, id === "style" ? "" : styles[0]?.name ?? "");
    if (select.selectedIndex < 0) select.selectedIndex = 0;
    select.addEventListener("change", () => setting.set(id, select.value));
  }
  window.stylemeterHabits = habits;
  at("style").addEventListener("change", () => telling(styleChosen));
  for (const button of document.querySelectorAll("nav [data-place]")) {
    button.addEventListener("click", () => go(button.dataset.place));
  }
  openStand({
    onYes: async (take) => {
      document.querySelector('nav [data-place="lesson"]').disabled = false;
      go("lesson");
      await showLesson(take);
    },
  });
  document.addEventListener("open-take", (event) => {
    document.dispatchEvent(new CustomEvent("put-on-stand", { detail: event.detail }));
    go("stand");
  });
}

telling(start);
