// Asking the server: every answer is JSON, every trouble one line that is told.

/** @param {string} path @param {{method?: string, body?: BodyInit}} [how] */
export async function ask(path, how = {}) {
  let answer;
  try {
    answer = await fetch(path, how);
  } catch {
    throw new Error("stylemeter has ended: start it again");
  }
  const type = answer.headers.get("content-type") || "";
  /** @type {any} */
  const told = type.startsWith("application/json") ? await answer.json() : { error: (await answer.text()).trim() };
  if (!answer.ok || told.error) throw new Error(told.error || `no answer (${answer.status})`);
  return told;
}

/** @param {string} path @param {object} body */
export const send = (path, body) => ask(path, { method: "POST", body: JSON.stringify(body) });

/** @param {Record<string, string|number|null|undefined>} values */
export function query(values) {
  const given = Object.entries(values).filter(([, v]) => v !== undefined && v !== null && v !== "");
  return new URLSearchParams(given.map(([k, v]) => [k, String(v)])).toString();
}

/** @template {HTMLElement} T @param {string} id @returns {T} */
export const at = (id) => /** @type {T} */ (document.getElementById(id));

/** Tell something to whoever looks or listens. */
export function say(text) {
  at("said").textContent = text;
}

/** Run work, telling what goes wrong. */
export async function telling(work) {
  try {
    await work();
  } catch (error) {
    say(error.message);
  }
}

/** A new element with text, never markup. */
export function element(name, text = "", properties = {}) {
  const made = Object.assign(document.createElement(name), properties);
  if (text) made.textContent = text;
  return made;
}

/** A setting of this browser's. */
export const setting = {
  get: (name, otherwise) => {
    try {
      return localStorage.getItem(`stylemeter.${name}`) ?? otherwise;
    } catch {
      return otherwise;
    }
  },
  set: (name, value) => {
    try {
      localStorage.setItem(`stylemeter.${name}`, String(value));
    } catch {
      // a browser that keeps nothing asks again next time
    }
  },
};
