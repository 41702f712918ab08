// Changes to a note table, as plain functions: a table in, a new table out. Times are exact fractions of a quarter note,
// written as the table writes them ("3/2").

/** @typedef {{onset: string, duration: string|null, pitch: number}} Note */
/** @typedef {{notes: Note[], solo: object}} Table */

const gcd = (a, b) => (b ? gcd(b, a % b) : a < 0n ? -a : a);

/** @param {string} text @returns {[bigint, bigint]} */
export function fraction(text) {
  const [above, below = "1"] = String(text).split("/");
  return [BigInt(above), BigInt(below)];
}

/** @param {[bigint, bigint]} value */
const written = ([a, b]) => {
  const shared = gcd(a, b) || 1n;
  return b / shared === 1n ? String(a / shared) : `${a / shared}/${b / shared}`;
};
const plus = ([a, b], [c, d]) => [a * d + c * b, b * d];
const minus = (x, [c, d]) => plus(x, [-c, d]);
const less = ([a, b], [c, d]) => a * d < c * b;

const copy = (table, notes) => ({ ...table, notes });
const changed = (table, at, change) => copy(table, table.notes.map((n, i) => (i === at ? { ...n, ...change } : n)));

/** Remove a note. @param {Table} table @param {number} at */
export function remove(table, at) {
  return copy(table, table.notes.filter((_, i) => i !== at));
}

/** Give a note another pitch. @param {number} semitones */
export function transpose(table, at, semitones) {
  const pitch = Math.round(table.notes[at].pitch) + semitones;
  if (pitch < 0 || pitch > 127) return table;
  // what was known of its string and fret is no longer so
  return changed(table, at, { pitch, string: null, fret: null });
}

/** Move a note in time, not past its neighbours. @param {string} by fraction of a quarter */
export function move(table, at, by) {
  const note = table.notes[at];
  const onset = plus(fraction(note.onset), fraction(by));
  const before = table.notes[at - 1];
  const after = table.notes[at + 1];
  if (before && !less(fraction(before.onset), onset)) return table;
  if (after && !less(onset, fraction(after.onset))) return table;
  const change = { onset: written(onset), onset_seconds: null };
  let next = changed(table, at, change);
  if (note.duration !== null && after) {
    const end = plus(onset, fraction(note.duration));
    if (less(fraction(after.onset), end)) {
      next = changed(next, at, { duration: written(minus(fraction(after.onset), onset)) });
    }
  }
  return next;
}

/** Join a note to the next one: its pitch, until the next one's end. */
export function join(table, at) {
  const next = table.notes[at + 1];
  if (!next) return table;
  const { onset, duration } = table.notes[at];
  if (duration === null || next.duration === null) return remove(table, at + 1);
  const end = plus(fraction(next.onset), fraction(next.duration));
  return remove(changed(table, at, { duration: written(minus(end, fraction(onset))) }), at + 1);
}

const NAMES = ["C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B"];

/** A note in words. */
export function spoken(table, at) {
  const note = table.notes[at];
  const pitch = Math.round(note.pitch);
  const name = `${NAMES[pitch % 12]}${Math.floor(pitch / 12) - 1}`;
  const sure = note.confidence !== undefined && note.confidence !== null && note.confidence < 0.5 ? ", not sure" : "";
  const beat = Math.round(note.beat * 100) / 100;
  return `Note ${at + 1} of ${table.notes.length}: ${name}, bar ${note.bar}, beat ${beat}${sure}`;
}
