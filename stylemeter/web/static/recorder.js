// Recording a take: the page plays the click and so knows the tempo and where beat 1 falls; the input is kept lossless.

import { ask, at, element, query, setting, telling } from "./asking.js";

const CLICK_SECONDS = 0.05;
const LEAD_SECONDS = 0.4;
let running = null;

const told = (text) => {
  at("rec-said").textContent = text;
};

/** @param {(file: File, told: object) => void} onTake */
export function openRecorder(onTake) {
  at("rec-start").addEventListener("click", () => guarded(() => begin(onTake)));
  at("rec-stop").addEventListener("click", () => running?.finish());
  at("rec-latency").addEventListener("click", () => guarded(checkDelay));
  at("record").addEventListener("toggle", () => telling(listInputs));
}

async function guarded(work) {
  try {
    await work();
  } catch (error) {
    told(error.name === "NotAllowedError" ? "The browser was not allowed to listen." : error.message);
    running?.close();
  }
}

async function listInputs() {
  const devices = (await navigator.mediaDevices?.enumerateDevices?.()) ?? [];
  const inputs = devices.filter((d) => d.kind === "audioinput" && d.deviceId && d.label);
  const select = at("rec-input");
  select.replaceChildren(new Option("the usual one", ""), ...inputs.map((d) => new Option(d.label, d.deviceId)));
  select.value = setting.get("input", "");
  if (select.selectedIndex < 0) select.selectedIndex = 0;
  select.onchange = () => setting.set("input", select.value);
}

/** Open the input with everything switched off that browsers do to speech: it ruins a guitar. */
async function openInput() {
  const wishes = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 };
  const device = at("rec-input").value;
  if (device) wishes.deviceId = { exact: device };
  const stream = await navigator.mediaDevices.getUserMedia({ audio: wishes });
  const settings = stream.getAudioTracks()[0].getSettings();
  const left = ["echoCancellation", "noiseSuppression", "autoGainControl"].filter((name) => settings[name]);
  if (left.length) {
    stream.getTracks().forEach((track) => track.stop());
    throw new Error(`This browser keeps ${left.join(" and ")} on, which ruins the sound of a guitar; use another one.`);
  }
  const context = new AudioContext({ latencyHint: "interactive" });
  await context.resume();
  await context.audioWorklet.addModule("static/worklet.js");
  const node = new AudioWorkletNode(context, "take", { numberOfOutputs: 0 });
  const parts = [];
  let first = null;
  let lost = false;
  let expected = null;
  node.port.onmessage = ({ data }) => {
    first ??= data.first;
    if (expected !== null && data.first !== expected) lost = true;
    expected = data.first + data.samples.length;
    parts.push(data.samples);
    at("rec-level").value = data.samples.reduce((most, v) => Math.max(most, Math.abs(v)), 0);
  };
  context.createMediaStreamSource(stream).connect(node);
  const close = () => {
    stream.getTracks().forEach((track) => track.stop());
    node.port.close();
    context.close();
    at("rec-level").value = 0;
  };
  return { context, parts, close, firstSecond: () => (first ?? 0) / context.sampleRate, lost: () => lost };
}

/** One click of the metronome. */
function click(context, when, strong) {
  const tone = context.createOscillator();
  const gain = context.createGain();
  tone.frequency.value = strong ? 1500 : 1000;
  gain.gain.setValueAtTime(0, when);
  gain.gain.linearRampToValueAtTime(0.4, when + 0.001);
  gain.gain.exponentialRampToValueAtTime(0.001, when + CLICK_SECONDS);
  tone.connect(gain).connect(context.destination);
  tone.start(when);
  tone.stop(when + CLICK_SECONDS + 0.01);
}

/** A soft chord or drone from one time to another. */
function sound(context, pitches, from, to) {
  for (const pitch of pitches) {
    const tone = context.createOscillator();
    const gain = context.createGain();
    tone.type = "triangle";
    tone.frequency.value = 440 * 2 ** ((pitch - 69) / 12);
    gain.gain.setValueAtTime(0, from);
    gain.gain.linearRampToValueAtTime(0.16 / pitches.length, from + 0.03);
    gain.gain.setValueAtTime(0.16 / pitches.length, to - 0.05);
    gain.gain.linearRampToValueAtTime(0, to);
    tone.connect(gain).connect(context.destination);
    tone.start(from);
    tone.stop(to);
  }
}

const MINUTES_MAX = 10;

async function begin(onTake) {
  if (running) return;
  const tempo = Number(at("rec-tempo").value);
  const beats = Number(at("rec-beats").value);
  const count = Number(at("rec-count").value);
  const key = at("rec-key").value;
  const chords = at("rec-chords").value;
  const along = at("rec-along").value;
  const harmony = along === "click" ? null : await ask(`api/harmony?${query({ key, chords, along, beats })}`);
  const input = await openInput();
  const { context } = input;
  const backing = at("rec-backing").files[0];
  const track = backing ? await context.decodeAudioData(await backing.arrayBuffer()) : null;
  const beat = 60 / tempo;
  const start = context.currentTime + LEAD_SECONDS;
  const one = start + count * beats * beat;
  let next = 0;
  let heard = 0;
  const timer = setInterval(() => {
    // sounds are ordered a second ahead on the context's own clock
    while (start + next * beat < context.currentTime + 1) {
      click(context, start + next * beat, next % beats === 0);
      next += 1;
    }
    for (; harmony?.sounds.length; heard += 1) {
      const round = Math.floor(heard / harmony.sounds.length) * harmony.length;
      const { at: from, to, pitches } = harmony.sounds[heard % harmony.sounds.length];
      if (one + (round + from) * beat > context.currentTime + 1) break;
      sound(context, pitches, one + (round + from) * beat, one + (round + to) * beat);
    }
    const left = Math.ceil((one - context.currentTime) / beat);
    told(left > 0 ? `Count-in: ${left}` : "Recording. Press Stop at the end.");
    if (context.currentTime - one > MINUTES_MAX * 60) running?.finish();
  }, 50);
  if (track) {
    const player = new AudioBufferSourceNode(context, { buffer: track });
    player.connect(context.destination);
    player.start(one);
  }
  at("rec-start").disabled = true;
  at("rec-stop").disabled = false;
  const close = () => {
    clearInterval(timer);
    input.close();
    at("rec-start").disabled = false;
    at("rec-stop").disabled = true;
    running = null;
  };
  running = {
    close,
    finish: () => {
      const rate = context.sampleRate;
      const delay = Number(setting.get("delay", "0"));
      const firstBeat = one - input.firstSecond() + delay;
      const file = new File([wav(input.parts, rate)], `recorded ${new Date().toISOString().slice(11, 19).replaceAll(":", "-")}.wav`);
      const lost = input.lost();
      close();
      told(lost ? "The browser lost some sound: close other programs and record again." : "Reading what you played…");
      onTake(file, { tempo, first_beat: firstBeat.toFixed(4), meter: `${beats}/4`, key, chords });
    },
  };
}

/** Eight clicks to play along with: how late the input arrives, once for this machine. */
async function checkDelay() {
  if (running) return;
  const input = await openInput();
  const { context } = input;
  const beat = 60 / 90;
  const start = context.currentTime + LEAD_SECONDS + beat;
  for (let i = 0; i < 8; i += 1) click(context, start + i * beat, i === 0);
  told("Play one short note with each of the eight clicks.");
  running = { close: input.close, finish: () => {} };
  await new Promise((resolve) => setTimeout(resolve, (LEAD_SECONDS + 9.5 * beat) * 1000));
  input.close();
  running = null;
  const late = lateness(input.parts, context.sampleRate, start - input.firstSecond(), beat);
  if (late === null) {
    told("Fewer than five of the eight notes were heard: play louder, or choose another input.");
    return;
  }
  setting.set("delay", late.toFixed(4));
  told(`The sound arrives ${Math.round(late * 1000)} ms late; recordings allow for it from now on.`);
}

/** Median lateness of the steepest rise near each click, in seconds; null where too few were heard. */
export function lateness(parts, rate, first, beat) {
  const samples = joined(parts);
  const hop = Math.round(rate / 500);
  const loud = [];
  for (let i = 0; i + hop <= samples.length; i += hop) {
    let most = 0;
    for (let j = i; j < i + hop; j += 1) most = Math.max(most, Math.abs(samples[j]));
    loud.push(most);
  }
  const heard = [];
  for (let k = 0; k < 8; k += 1) {
    const from = Math.max(1, Math.floor(((first + k * beat - 0.1) * rate) / hop));
    const to = Math.min(loud.length, Math.ceil(((first + k * beat + 0.3) * rate) / hop));
    let best = -1;
    let rise = 0.02;
    for (let i = from; i < to; i += 1) {
      if (loud[i] - loud[i - 1] > rise) {
        rise = loud[i] - loud[i - 1];
        best = i;
      }
    }
    if (best >= 0) heard.push((best * hop) / rate - first - k * beat);
  }
  if (heard.length < 5) return null;
  heard.sort((a, b) => a - b);
  return heard[Math.floor(heard.length / 2)];
}

function joined(parts) {
  const samples = new Float32Array(parts.reduce((n, part) => n + part.length, 0));
  let at_ = 0;
  for (const part of parts) {
    samples.set(part, at_);
    at_ += part.length;
  }
  return samples;
}

/** 16-bit PCM, one channel (RIFF WAVE). */
export function wav(parts, rate) {
  const samples = joined(parts);
  const bytes = new DataView(new ArrayBuffer(44 + 2 * samples.length));
  const text = (at_, word) => [...word].forEach((c, i) => bytes.setUint8(at_ + i, c.charCodeAt(0)));
  text(0, "RIFF");
  bytes.setUint32(4, 36 + 2 * samples.length, true);
  text(8, "WAVEfmt ");
  bytes.setUint32(16, 16, true);
  bytes.setUint16(20, 1, true);
  bytes.setUint16(22, 1, true);
  bytes.setUint32(24, rate, true);
  bytes.setUint32(28, 2 * rate, true);
  bytes.setUint16(32, 2, true);
  bytes.setUint16(34, 16, true);
  text(36, "data");
  bytes.setUint32(40, 2 * samples.length, true);
  samples.forEach((v, i) => bytes.setInt16(44 + 2 * i, Math.max(-32768, Math.min(32767, Math.round(v * 32767))), true));
  return bytes.buffer;
}
