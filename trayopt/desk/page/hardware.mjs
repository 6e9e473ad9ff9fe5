// Hardware of the job: its parts as forms, with what is assumed, and their pictures.

import { button, english, fill, known, language, make, plainly, say, sentence } from "./dom.mjs";
import { act, get } from "./link.mjs";

const at = (id) => document.getElementById(id);
let parts = null;
let seen = 0;
const pictures = new Map();

export async function drawHardware(state) {
  if (!parts || seen !== state.at) {
    parts = await get("hardware");
    seen = state.at;
    pictures.clear();
  }
  if (!parts) return;
  fill(at("parts"), parts.length ? parts.map(drawPart) : make("p", { class: "hint" }, say("hardware.none")));
  for (const details of at("parts").querySelectorAll("details.drawn[open]")) show(details);
}

function drawPart(part, i) {
  const assumed = part.tables.flatMap((table) => table.rows).flatMap((row) => row.cells).filter((cell) => cell.state === "assumed").length;
  const wrong = part.tables.some((table) => table.rows.some((row) => row.cells.some((cell) => cell.wrong.length)));
  const drawn = make("details", { class: "drawn", "data-key": `drawn ${part.file} ${i}`, "data-part": i, ontoggle: (event) => { if (event.target.open) show(event.target); } },
    make("summary", {}, say("hardware.picture")), make("div", { class: "drawing scroll", tabindex: "0", role: "group", "aria-label": `${say("hardware.picture")}, ${part.id}` }));
  const facts = [say(`hardware.where.${part.where}`, { file: part.name }), assumed ? say("hardware.assumed", { n: assumed }) : ""].filter(Boolean);
  return make("details", { open: part.kind === "enclosure" || wrong, class: "part", "data-key": `part ${part.file} ${i}` },
    make("summary", {}, `${say(`hardware.kind.${part.kind}`)} ${part.id}`, " ", make("small", {}, facts.join(" · "))),
    part.built ? null : make("p", { class: "note bad" }, say("hardware.not_built")), part.drawn ? drawn : null,
    part.tables.map((table) => drawTable(part, table)),
    make("p", { class: "about", hidden: true }));
}

async function show(details) {
  const i = Number(details.dataset.part);
  if (!pictures.has(i)) pictures.set(i, (await get(`hardware_picture?of=${i}&lang=${language}`))?.picture ?? "");
  const parsed = new DOMParser().parseFromString(pictures.get(i), "image/svg+xml").documentElement;
  fill(details.querySelector(".drawing"), document.importNode(parsed, true));
}

const label = (key, between = " ") => key.split(".").map((each) => (known(`hardware.${each}`) ? say(`hardware.${each}`) : each)).join(between);

function drawTable(part, table) {
  const head = table.name ? label(table.name, ": ") : say("hardware.own");
  if (!table.name) {
    const cells = table.rows[0].cells.map((cell) => make("label", {}, label(cell.key), input(part, cell, "")));
    return make("fieldset", {}, make("legend", {}, head), make("div", { class: "head-cells values" }, cells));
  }
  const named = table.columns.includes("id");
  const rows = table.rows.map((row) => [row, (act_, sign) => button(sign, () => act("hardware", { file: part.file, at_key: row.at, entry: act_ }),
    { class: "small", "data-key": `${act_} ${part.file} ${row.at.join(".")}`, "aria-label": say(`hardware.${act_}`, { name: row.head }), title: say(`hardware.${act_}`, { name: row.head }) })]).map(([row, entry]) => make("tr", {}, make("th", { scope: "row" }, row.head),
    row.cells.filter((cell) => !(named && cell.key === "id")).map((cell) => make("td", {}, input(part, cell, row.head))),
    make("td", {}, make("div", { class: "acts" }, entry("copy", "+"), entry("out", "×")))));
  return make("div", { class: "scroll", tabindex: "0", role: "group", "aria-label": `${head}, ${part.id}` }, make("table", { class: "cells values" },
    make("caption", {}, head), make("thead", {}, make("tr", {}, make("td", {}), table.columns.filter((key) => !(named && key === "id")).map((key) => make("th", { scope: "col" }, label(key))), make("td", {}))),
    make("tbody", {}, rows)));
}

function input(part, cell, head) {
  const about = [...cell.wrong, ...cell.unusual].map(plainly).join("\n");
  const state = cell.wrong.length ? "wrong" : cell.unusual.length ? "unusual" : cell.state;
  const name = [label(cell.key), head, cell.state ? say(`hardware.state.${cell.state}`) : ""].filter(Boolean).join(", ");
  const send = (more) => act("hardware", { file: part.file, at_key: cell.at, ...more });
  return make("input", { type: "text", value: cell.text, size: String(Math.min(Math.max(cell.text.length + 1, 5), 22)), class: state, autocomplete: "off", spellcheck: "false",
    "data-key": `hardware ${part.file} ${cell.at.join(".")}`, "aria-label": name, title: about || cell.note || null, "aria-invalid": cell.wrong.length ? "true" : null,
    onchange: (event) => send({ text: event.target.value }), onfocus: (event) => tellOf(event.target, cell, about, () => send({})) });
}

/** Say under the part what a value is, and let it be taken for measured. */
function tellOf(field, cell, about, confirm) {
  const place = field.closest(".part").querySelector(".about");
  place.hidden = !(about || cell.note);
  fill(place, make("span", {}, [...cell.wrong, ...cell.unusual].map((each) => sentence(each)), about && cell.note ? " · " : "", cell.note ? english(cell.note) : ""),
    cell.state === "assumed" ? button(say("hardware.confirm"), confirm, { class: "small" }) : null);
}
