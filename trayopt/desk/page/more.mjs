// Pictures of the plan, and its sheets.

import { button, fill, language, make, say } from "./dom.mjs";
import { get, request } from "./link.mjs";

let drawn = null;
let wanted = "front";
let asked = 0;
let timer = null;

/** Draw pictures a little after the last change, so that moving a leg never waits for them. */
export function drawPictures(state) {
  const part = document.getElementById("pictures");
  if (!state.board) {
    fill(part);
    return;
  }
  if (drawn !== state.at) {
    clearTimeout(timer);
    timer = setTimeout(() => load(state.at), drawn === null ? 0 : 250);
  }
}

async function load(at) {
  const mine = ++asked;
  const found = await get(`pictures?lang=${language}`);
  if (!found || mine !== asked) return;
  drawn = at;
  const part = document.getElementById("pictures");
  const names = Object.keys(found);
  if (!names.includes(wanted)) [wanted] = names;
  const show = () => {
    const parsed = new DOMParser().parseFromString(found[wanted], "image/svg+xml").documentElement;
    fill(part, make("h3", {}, say("picture.head")),
      make("div", { class: "acts", role: "group", "aria-label": say("picture.which") }, names.map((name) => button(
        name === "front" ? say("picture.front") : say("picture.order", { trunk: name.slice(6) }), () => { wanted = name; show(); },
        { "aria-pressed": name === wanted ? "true" : "false", "data-key": `picture ${name}` }))),
      make("div", { class: "drawing scroll", tabindex: "0", role: "group", "aria-label": say("picture.head") }, document.importNode(parsed, true)));
  };
  if (names.length) show();
}

const options = { units: "metric", language, codes: false };
let made = null;

export function drawSheets(state) {
  const part = document.getElementById("sheets");
  const choose = (key, values) => make("label", {}, say(`sheet.${key}`), make("select", { "data-key": key, onchange: (event) => { options[key] = event.target.value; } },
    values.map((value) => make("option", { value, selected: value === options[key] }, say(`sheet.${value}`)))));
  fill(part,
    make("p", {}, say("sheet.says")),
    make("div", { class: "acts" }, choose("language", ["en", "de"]), choose("units", ["metric", "feet"]),
      make("label", {}, make("input", { type: "checkbox", checked: options.codes, "data-key": "codes", onchange: (event) => { options.codes = event.target.checked; } }), say("sheet.codes")),
      button(say("do.sheets"), write, { class: "main", disabled: !state.board, "data-key": "write" })),
    made ? make("div", { class: `note ${made.warnings.length ? "warn" : "good"}` }, make("div", {}, make("p", {}, say("sheet.written", { n: made.written.length, folder: made.folder })),
      make("p", {}, make("a", { href: "sheet", target: "_blank", rel: "noopener" }, say("sheet.open"))),
      made.warnings.length ? make("ul", {}, made.warnings.map((each) => make("li", {}, each))) : null)) : null);

  async function write() {
    made = await request("sheets", options);
    drawSheets(state);
  }
}
