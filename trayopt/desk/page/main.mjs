// The page: views, files, notes and keys; each part draws itself from the state.

import { drawBoard, drawLeg, putDown } from "./board.mjs";
import { button, fill, make, plainly, say, sentence, tell } from "./dom.mjs";
import { drawForms } from "./forms.mjs";
import { drawGoals, drawSearch } from "./goals.mjs";
import { drawHardware } from "./hardware.mjs";
import { act, here, listen, note, watch } from "./link.mjs";
import { drawPictures, drawSheets } from "./more.mjs";
import { drawReasons } from "./reasons.mjs";
import { drawTrunks } from "./trunks.mjs";

const at = (id) => document.getElementById(id);

function show(view) {
  document.body.dataset.seen = view;
  for (const section of document.querySelectorAll("main > section")) section.hidden = section.id !== view;
  for (const each of document.querySelectorAll("nav.views button")) {
    if (each.dataset.view === view) each.setAttribute("aria-current", "page");
    else each.removeAttribute("aria-current");
  }
  if (location.hash !== `#${view}`) history.replaceState(null, "", `${location.search}#${view}`);
  if (here.state) draw(here.state, "whole");
}

function seen() {
  return document.querySelector("main > section:not([hidden])").id;
}

function draw(state, what) {
  if (!state) return;
  drawHead(state);
  drawNotes(state);
  drawSearch(state);
  if (what === "notes") return;
  drawGoals(state, what);
  if (what !== "whole") return;
  const view = seen();
  if (view === "plan") {
    drawTrunks(state);
    drawLeg(state);
    drawBoard(state);
    drawPictures(state);
  } else if (view === "job") drawForms(state);
  else if (view === "hardware") drawHardware(state);
  else if (view === "why") drawReasons(state);
  else drawSheets(state);
}

function drawHead(state) {
  const title = state.title || state.files[0];
  at("title").textContent = title;
  const names = [...state.files.filter((_, i) => state.unsaved[i]), ...state.unsaved_files];
  document.title = `${names.length ? "● " : ""}${title}`;
  at("files").textContent = `${state.files.join(" · ")} · ${
    names.length ? say("file.unsaved", { names: names.join(", ") }) : say("file.saved")}`;
  for (const [id, step] of [["undo", state.undo], ["redo", state.redo]]) {
    at(id).disabled = step === null;
    at(id).title = step ? `${say(`done.${step.done}`)} ${step.about}` : "";
  }
  at("save").disabled = !names.length;
}

function drawNotes(state) {
  const notes = [];
  const add = (text, level, ...acts) => notes.push({ text, level, acts });
  if (state.left_behind) {
    add([say(state.left_behind.changed ? "note.left_behind_changed" : "note.left_behind"), state.left_behind.found ? say("note.left_behind_found") : ""].join(" ").trim(), "warn",
      button(say("do.take_over"), () => act("take_over")), button(say("do.leave"), () => act("leave")));
  }
  if (state.changed.length && !here.notes.has("conflict")) {
    add(say("note.changed", { names: state.changed.join(", ") }), "warn",
      button(say("do.reload"), () => act("reload")), button(say("do.write_over"), () => save(true)));
  }
  if (state.changed_beside.length) {
    add(say("note.changed_beside", { names: state.changed_beside.join(", ") }), "warn", button(say("do.reread"), () => act("reread")));
  }
  if (state.faults.length) {
    add(say(state.board ? "note.faults" : "note.faults_first", { n: state.faults.length }), "bad",
      button(say("do.to_faults"), () => {
        const own = state.faults.some((fault) => fault.where);
        show(own || !state.board ? "job" : "hardware");
        (own || !state.board ? at("faults") : at("hardware")).scrollIntoView();
      }));
  }
  if (state.lost) add(say("note.gone", { n: state.lost }), "warn");
  if (state.unkept) add(`${say("note.unkept")} ${state.unkept}`, "bad");
  for (const each of state.warnings) notes.push({ text: plainly(each), says: sentence(each), level: "warn", acts: [] });
  for (const [key, each] of here.notes) {
    const close = each.close ? [button(say("do.close"), () => note(key, null))] : [];
    notes.push({ ...each, acts: [...(each.acts ?? []), ...close] });
  }
  const drawn = JSON.stringify(notes.map((each) => [each.text, each.level]));
  if (at("notes").dataset.drawn === drawn) return;
  at("notes").dataset.drawn = drawn;
  fill(at("notes"), notes.map((each) => make("div", { class: `note ${each.level}` },
    make("div", {}, each.says ?? make("p", {}, each.text)), each.acts.length ? make("div", { class: "acts" }, each.acts) : null)));
}

async function save(over = false) {
  const done = await act("save", over ? { over: true } : {});
  if (!done) return;
  if (done.answer?.conflicts) {
    const names = done.answer.conflicts.join(", ");
    note("conflict", {
      text: say("note.conflict", { names }), level: "bad", close: true,
      acts: [
        button(say("do.write_over"), () => { note("conflict", null); save(true); }),
        button(say("do.reload"), () => { note("conflict", null); act("reload"); }),
      ],
    });
    tell(say("note.conflict", { names }));
    return;
  }
  note("conflict", null);
  tell(say("file.saved"));
}

/** Go to a part of the page: to what is seen of the views, otherwise to the part itself. */
function go(id) {
  const part = at(id);
  const to = part.querySelector("[aria-current]") ?? part;
  to.focus();
  to.scrollIntoView({ block: "nearest" });
}

/** Escape takes back what is typed into a cell, puts down a leg in hand, and otherwise goes to the views. */
function leave(event) {
  if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || event.shiftKey) return;
  const cell = event.target;
  if (cell.matches?.("input:not([type=checkbox])") && cell.value !== cell.defaultValue) cell.value = cell.defaultValue;
  else if (!putDown()) go("views");
  event.preventDefault();
}

function keys(event) {
  if (event.key === "Escape") leave(event);
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
  const typing = event.target.matches?.("input:not([type=checkbox])") && event.target.value !== event.target.defaultValue;
  const key = event.key.toLowerCase();
  if (key === "s") {
    document.activeElement?.blur?.();
    save();
  } else if (key === "z" && !typing) act(event.shiftKey ? "redo" : "undo");
  else if (key === "y" && !typing) act("redo");
  else return;
  event.preventDefault();
}

at("undo").addEventListener("click", () => act("undo"));
at("redo").addEventListener("click", () => act("redo"));
at("save").addEventListener("click", () => save());
document.addEventListener("keydown", keys);
for (const each of document.querySelectorAll("nav.views button")) {
  each.addEventListener("click", () => show(each.dataset.view));
}
for (const each of document.querySelectorAll("nav.languages a")) {
  each.addEventListener("click", () => { each.href = `?lang=${each.lang}${location.hash}`; });
}
for (const each of document.querySelectorAll("a.skip")) {
  each.addEventListener("click", (event) => {
    event.preventDefault();
    go(each.hash.slice(1));
  });
}
listen(draw);
const first = location.hash.slice(1);
show(["plan", "job", "hardware", "why", "print"].includes(first) ? first : "plan");
watch();
