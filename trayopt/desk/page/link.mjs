// What the page asks the desk, and what it was told last; one request that changes something at a time.

import { make, plainly, say, sentences, tell } from "./dom.mjs";

export const here = { state: null, listeners: [], notes: new Map(), lost: false };

export function listen(listener) {
  here.listeners.push(listener);
}

export function note(key, content) {
  if (content === null && !here.notes.delete(key)) return;
  if (content !== null) here.notes.set(key, content);
  for (const listener of here.listeners) listener(here.state, "notes");
}

function take(state) {
  const before = here.state;
  here.state = { ...before, ...state };
  const whole = "board" in state && (!before || before.rev !== state.rev || before.at !== state.at);
  for (const listener of here.listeners) listener(here.state, whole ? "whole" : "run");
}

async function ask(path, body) {
  const options = body === undefined ? {} : {
    method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body),
  };
  let answer;
  try {
    answer = await fetch(path, { ...options, cache: "no-store" });
  } catch {
    here.lost = true;
    note("lost", { text: say("note.lost"), level: "bad" });
    return null;
  }
  if (here.lost) {
    here.lost = false;
    note("lost", null);
  }
  const data = await answer.json().catch(() => ({}));
  return { status: answer.status, data };
}

let queue = Promise.resolve();

/** Do something that changes the document, after all that was asked before. */
export function act(name, more = {}) {
  const start = performance.now();
  const done = queue.then(() => acted(name, more, start));
  queue = done.catch(() => null);
  return done;
}

async function acted(name, more, start, again = true) {
  const found = await ask("act", { at: here.state.at, act: name, ...more });
  if (!found) return null;
  if (found.status === 409 && found.data.wrong === "stale" && again) {
    take(found.data);
    return acted(name, more, start, false);
  }
  if (found.status === 409 && found.data.wrong === "live") {
    take(found.data);
    warnLive(found.data, () => { note("live", null); act(name, { ...more, live: true }); });
    return null;
  }
  if (!told(found)) {
    for (const listener of here.listeners) listener(here.state, "whole");
    return null;
  }
  here.notes.delete("applied");
  take(found.data);
  performance.measure("act", { start, detail: name });
  return found.data;
}

/** Warn before what is in service is moved, with its circuits; only who says so moves it in the plan. */
function warnLive(found, move) {
  const named = (name) => (/^\d+$/.test(name) ? say("note.join", { name }) : name);
  const circuits = Object.entries(found.circuits).map(([name, n]) => `${named(name)} (${n})`).join(", ");
  const text = say("note.live", { legs: found.legs.join(", "), circuits: circuits || "–" });
  const acts = [make("button", { type: "button", onclick: move, "data-key": "move live" }, say("do.move_live"))];
  note("live", { text, level: "bad", close: true, acts, focus: true });
  tell(text);
  for (const listener of here.listeners) listener(here.state, "whole");
}

/** Ask for something that changes no document: begin, halt, compare, sheets. */
export async function request(path, body = {}) {
  const found = await ask(path, body);
  if (!found || !told(found)) return null;
  if ("rev" in found.data) take(found.data);
  return found.data;
}

export async function get(path) {
  const found = await ask(path);
  return found && found.status === 200 ? found.data : null;
}

function told(found) {
  if (found.status === 200) {
    note("wrong", null);
    return true;
  }
  const faults = found.data.faults?.map((fault) => fault.text);
  const text = faults ? faults.map(plainly).join("\n") : say(`wrong.${found.data.wrong ?? "other"}`);
  if ("board" in found.data) take(found.data);
  note("wrong", { text, says: faults ? sentences(faults) : null, level: "bad", close: true });
  tell(text);
  return false;
}

export async function refresh() {
  const found = await get(`state?since=${here.state?.rev ?? 0}`);
  if (found) take(found);
}

export async function watch() {
  await refresh();
  setTimeout(watch, here.state?.run?.running ? 400 : 1500);
}
