"use strict";
// Plays the take, a stretch of it, or a stretch with a change made, on plucked tones made here; nothing is loaded.
(function () {
  const Context = window.AudioContext || window.webkitAudioContext;
  const holder = document.getElementById("sound");
  const buttons = Array.from(document.querySelectorAll(".play"));
  if (!Context || !holder || !buttons.length) return;
  const sound = JSON.parse(holder.textContent);
  const speed = document.getElementById("speed");
  // seconds before the first tone, the fade at the end of a tone, and how long a string rings at the most
  const LEAD = 0.08;
  const FADE = 0.03;
  const RING = 4;
  let context = null;
  let playing = null;

  // What is to be heard of a voice: seconds from now, seconds long, cycles a second, and the note's index.
  function schedule(voice, start, end, factor) {
    const second = (60 / sound.tempo) / factor;
    return sound.voices[voice]
      .filter((note) => note[0] >= start - 1e-6 && note[0] < end - 1e-6)
      .map((note) => ({
        at: LEAD + (note[0] - start) * second,
        long: Math.min(Math.max(note[1] * second, 0.06), RING),
        cycles: 440 * Math.pow(2, (note[2] - 69) / 12),
        index: note[3],
      }));
  }

  function pluck(tone, from, out) {
    const gain = context.createGain();
    const begin = from + tone.at;
    const finish = begin + tone.long;
    gain.gain.setValueAtTime(0.0001, begin);
    gain.gain.exponentialRampToValueAtTime(0.5, begin + 0.006);
    gain.gain.exponentialRampToValueAtTime(0.12, begin + Math.max(0.05, tone.long * 0.8));
    gain.gain.linearRampToValueAtTime(0, finish + FADE);
    gain.connect(out);
    // a string sounds in whole multiples of its own tone, the higher the fainter
    for (const [multiple, level] of [[1, 1], [2, 0.45], [3, 0.22], [4, 0.1]]) {
      const string = context.createOscillator();
      const part = context.createGain();
      string.frequency.value = tone.cycles * multiple;
      part.gain.value = level * 0.4;
      string.connect(part);
      part.connect(gain);
      string.start(begin);
      string.stop(finish + FADE);
    }
  }

  function mark(indices, on) {
    for (const index of indices)
      for (const note of document.querySelectorAll('.music [data-note="' + index + '"]')) note.classList.toggle("now", on);
  }

  function follow(tones, from, voice) {
    let now = -1;
    function step() {
      if (!playing) return;
      const time = context.currentTime - from;
      let next = -1;
      for (let i = 0; i < tones.length && tones[i].at <= time; i++) next = i;
      if (next !== now && voice === "take") {
        if (now >= 0) mark([tones[now].index], false);
        if (next >= 0) mark([tones[next].index], true);
        now = next;
      }
      const last = tones[tones.length - 1];
      if (time > last.at + last.long + FADE) stop();
      else playing.frame = requestAnimationFrame(step);
    }
    step();
  }

  function stop() {
    if (!playing) return;
    cancelAnimationFrame(playing.frame);
    playing.out.disconnect();
    playing.button.classList.remove("on");
    playing.button.querySelector(".said").textContent = playing.said;
    document.querySelectorAll(".now").forEach((note) => note.classList.remove("now"));
    playing = null;
  }

  function press(button) {
    const again = playing && playing.button === button;
    stop();
    if (again) return;
    const end = button.dataset.end === undefined ? Infinity : Number(button.dataset.end);
    const first = sound.voices[button.dataset.voice][0];
    const start = button.dataset.end === undefined ? (first ? first[0] : 0) : Number(button.dataset.start);
    const tones = schedule(button.dataset.voice, start, end, Number(speed.value));
    if (!tones.length) return;
    context = context || new Context();
    context.resume();
    const out = context.createGain();
    out.connect(context.destination);
    const from = context.currentTime;
    tones.forEach((tone) => pluck(tone, from, out));
    const said = button.querySelector(".said");
    playing = { button: button, said: said.textContent, out: out, frame: 0 };
    said.textContent = button.dataset.stop;
    button.classList.add("on");
    follow(tones, from, button.dataset.voice);
  }

  for (const button of buttons) {
    button.hidden = false;
    button.addEventListener("click", () => press(button));
  }
  document.querySelectorAll(".speed").forEach((label) => { label.hidden = false; });
})();
// Sorting and filtering of the table of traits; without this script the table stands as it was written.
(function () {
  const table = document.getElementById("trait-table");
  if (!table) return;
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
