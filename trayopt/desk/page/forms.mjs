// The job as tables: cells are typed or pasted from a spreadsheet, and what is wrong stands at its cell.

import { button, fill, make, plainly, say, sentence } from "./dom.mjs";
import { act, get, here, note } from "./link.mjs";

const at = (id) => document.getElementById(id);
let tables = null;
const wide = new Set();
const shown = new Map();

export async function drawForms(state) {
  if (!tables || tables.text !== state.text) tables = await get("tables");
  if (!tables) return;
  const faults = new Map();
  for (const fault of state.faults) faults.set(fault.where, [...(faults.get(fault.where) ?? []), fault]);
  drawFaults(state);
  fill(at("forms"),
    Object.entries(tables.choices).map(([key, ids]) => make("datalist", { id: `known-${key}` }, ids.map((id) => make("option", { value: id })))),
    make("fieldset", {}, make("legend", {}, say("form.head")), make("div", { class: "head-cells" }, tables.head.map((each) =>
      make("label", {}, say(`column.${each.key}`), cell(each.text, each.fixed, faults.get(each.key), `head ${each.key}`, `column.${each.key}`,
        (text) => act("head", { key: each.key, text })))))),
    ["trunks", "joins", "apart", "pins"].map((name) => drawTable(name, faults)),
    drawRules(faults));
}

function drawFaults(state) {
  fill(at("faults"), state.faults.length ? make("div", { class: "note bad", role: "group", "aria-label": say("form.faults") },
    make("ul", { class: "plain" }, state.faults.map((fault) => make("li", {},
      place(fault.where) ? button(say("form.go"), () => go(fault.where), { class: "as-link" }) : null, " ", sentence(fault.text))))) : null);
}

/** Turn a path such as trunks[0].loops[1] into the key of its cell. */
function place(where) {
  const found = /^(trunks|joins|apart|pins)\[(\d+)\](?:\.(\w+))?/.exec(where);
  if (found) return `${found[1]} ${found[2]} ${found[3] ?? ""}`.trim();
  const rule = /^rules\.(\w+)(?:\.(\w+))?/.exec(where);
  if (rule) return `rule ${rule[1]} ${rule[2] === "level" ? "" : rule[2] ?? ""}`.trim();
  const head = /^(title|enclosure|tubes)/.exec(where);
  return head ? `head ${head[1]}` : null;
}

function go(where) {
  const key = place(where);
  const found = document.querySelector(`#forms [data-key="${CSS.escape(key)}"]`) ?? document.querySelector(`#forms [data-key^="${CSS.escape(key)}"]`);
  found?.closest("details")?.setAttribute("open", "");
  found?.focus();
}

function wrong(faults) {
  return faults ? { "aria-invalid": "true", title: faults.map((fault) => plainly(fault.text)).join("\n"), class: "wrong" } : {};
}

function cell(text, fixed, faults, key, label, put, more = {}) {
  if (fixed) return make("span", { class: "fixed", title: say("form.fixed"), "data-key": key, tabindex: "0" }, text);
  const column = key.split(" ").at(-1);
  return make("input", { type: "text", value: text, list: column in tables.choices ? `known-${column}` : null, "data-key": key, "aria-label": known(label), autocomplete: "off", spellcheck: "false",
    onchange: (event) => put(event.target.value), ...wrong(faults), ...more });
}

const known = (label) => say(label);

function drawTable(name, faults) {
  const table = tables.tables[name];
  const used = (column) => !column.rare || wide.has(name) || table.rows.some((row) => row[column.key]) || [...faults.keys()].some((where) => where.startsWith(`${name}[`) && where.includes(`.${column.key}`));
  const columns = table.columns.filter(used);
  shown.set(name, columns.map((column) => column.key));
  const rows = [...table.rows, {}];
  const own = (row, key) => [...faults].filter(([where]) => where === `${name}[${row}].${key}` || where.startsWith(`${name}[${row}].${key}[`)).flatMap(([, each]) => each);
  const put = (row, key, text) => act("cells", { table: name, cells: [[row, key, text]] });
  const body = rows.map((row, i) => make("tr", { class: faults.has(`${name}[${i}]`) ? "wrong" : "" },
    make("th", { scope: "row" }, i < table.rows.length ? String(i + 1) : "+"),
    columns.map((column) => {
      const key = `${name} ${i} ${column.key}`;
      const found = own(i, column.key);
      const label = `${say(`column.${column.key}`)}, ${say(`form.${name}`)} ${i + 1}`;
      const text = row[column.key] ?? "";
      const choices = column.choices.length ? column.choices : null;
      if (choices && (choices.includes(text))) {
        return make("td", {}, make("select", { "data-key": key, "aria-label": label, onchange: (event) => put(i, column.key, event.target.value), ...wrong(found.length ? found : null), onpaste: (event) => paste(event, name, i, column.key) },
          choices.map((each) => make("option", { value: each, selected: each === text }, each === "" ? "–" : word(column.key, each)))));
      }
      const fixed = table.fixed[i]?.includes(column.key);
      return make("td", {}, cell(text, fixed, found.length ? found : null, key, label, (said) => put(i, column.key, said), { onpaste: (event) => paste(event, name, i, column.key), size: width(column.key, table.rows) }));
    }),
    make("td", {}, i < table.rows.length ? button("×", () => act("rows", { table: name, rows: [i] }), { class: "small", "aria-label": say("form.take_row", { n: i + 1 }) }) : null)));
  const caption = `${say(`form.${name}`)} (${table.rows.length})`;
  return make("details", { open: true, "data-key": `table ${name}` }, make("summary", { "data-key": `summary ${name}` }, caption), past(name, caption),
    name === "joins" && tables.joins_of ? make("p", { class: "hint" }, say("form.joins_of", { name: tables.joins_of })) : null,
    make("div", { class: "scroll" }, make("table", { class: "cells", "aria-label": caption },
      make("thead", {}, make("tr", {}, make("th", { scope: "col" }, "#"), columns.map((column) => make("th", { scope: "col" }, say(`column.${column.key}`))), make("td", {}))),
      make("tbody", {}, body))),
    table.columns.some((column) => column.rare) ? make("label", { class: "hint" }, make("input", { type: "checkbox", checked: wide.has(name), "data-key": `wide ${name}`,
      onchange: (event) => { wide[event.target.checked ? "add" : "delete"](name); drawForms(here.state); } }), say("form.wide")) : null);
}

/** A way past a table for those who come by the keyboard: to the head of the next table, or to the end of the view. */
function past(name, what) {
  return button(say("form.past", { what }), (event) => {
    const next = event.target.closest("details").nextElementSibling;
    (next?.querySelector("summary") ?? document.querySelector("main > a.skip")).focus();
  }, { class: "skip", "data-key": `past ${name}` });
}

function word(key, each) {
  const said = say(`${key}.${each}`);
  return said === `${key}.${each}` ? each : said;
}

function width(key, rows) {
  const most = Math.max(4, ...rows.map((row) => (row[key] ?? "").length));
  return String(Math.min(most + 1, 26));
}

/** Cut what a spreadsheet copied into rows of cells; a quoted cell may hold line ends, and empty rows are left out. */
function cellsOf(text) {
  const quoted = text.replace(/\r/g, "").replace(/(^|[\t\n])"((?:[^"]|"")*)"(?=[\t\n]|$)/g, (_, before, inside) => before + inside.replace(/""/g, '"').replace(/\s*\n\s*/g, " "));
  return quoted.split("\n").map((line) => line.split("\t").map((each) => each.trim())).filter((line) => line.some(Boolean));
}

/** Put a block of a spreadsheet from this cell on; a first row of headers, in any language of the desk, says which column is which. */
function paste(event, name, row, key) {
  const text = event.clipboardData.getData("text/plain");
  if (!/[\t\n]/.test(text.replace(/\r?\n$/, ""))) return;
  event.preventDefault();
  const lines = cellsOf(text);
  const names = new Map(tables.tables[name].columns.flatMap((column) => column.names.map((each) => [each.toLowerCase(), column.key])));
  const keys = shown.get(name);
  let order = keys.slice(keys.indexOf(key));
  const heads = (lines[0] ?? []).map((each) => names.get(each.toLowerCase()));
  const unread = [];
  if (heads.filter(Boolean).length > heads.length / 2) {
    order = heads;
    unread.push(...lines.shift().filter((each, j) => each && !heads[j]));
  }
  const cells = [];
  let lost = 0;
  lines.forEach((line, i) => line.forEach((each, j) => {
    if (order[j]) cells.push([row + i, order[j], each]);
    else if (each && j >= order.length) lost += 1;
  }));
  const left = [unread.length ? say("form.unread", { names: unread.join(", ") }) : "", lost ? say("form.beyond", { n: lost }) : ""].filter(Boolean).join(" ");
  note("pasted", left ? { text: left, level: "warn", close: true } : null);
  if (cells.length) act("cells", { table: name, cells });
}

function drawRules(faults) {
  const rows = tables.rules.map((rule) => {
    const put = (key, text) => {
      const now = { level: rule.level, weight: String(rule.weight), ...rule.parameters };
      act("rule", { rule: rule.rule, setting: { ...now, [key]: text } });
    };
    const own = `rules.${rule.rule}`;
    const cells = ["weight", ...Object.keys(rule.parameters)];
    const at = (key) => [...faults].filter(([where]) => where === `${own}.${key}` || where.startsWith(`${own}.${key}[`)).flatMap(([, each]) => each);
    const found = [...faults].filter(([where]) => (where === own || where.startsWith(`${own}.`)) && !cells.some((key) => at(key).length && where.startsWith(`${own}.${key}`))).flatMap(([, each]) => each);
    const bad = (key) => wrong(at(key).length ? at(key) : null);
    const label = (key) => `${say(`column.${key}`)}, ${rule.rule}`;
    return make("tr", { class: rule.said ? "said" : "" },
      make("th", { scope: "row" }, make("span", { lang: "en", title: rule.words }, rule.rule)),
      make("td", {}, make("select", { "data-key": `rule ${rule.rule}`, "aria-label": label("level"), onchange: (event) => put("level", event.target.value), ...wrong(found.length ? found : null) },
        ["must", "prefer", "off"].map((each) => make("option", { value: each, selected: each === rule.level }, say(`level.${each}`))))),
      make("td", {}, make("input", { type: "text", inputmode: "numeric", size: "4", value: String(rule.weight), disabled: rule.level !== "prefer", "data-key": `rule ${rule.rule} weight`, "aria-label": label("weight"), onchange: (event) => put("weight", event.target.value), ...bad("weight") })),
      make("td", {}, Object.entries(rule.parameters).map(([key, value]) => make("label", { lang: "en", class: "parameter" }, key,
        make("input", { type: "text", size: "6", value, "data-key": `rule ${rule.rule} ${key}`, onchange: (event) => put(key, event.target.value), ...bad(key) })))),
      make("td", { class: "says" }, plainly(rule.broken_when)));
  });
  return make("details", { "data-key": "table rules" }, make("summary", { "data-key": "summary rules" }, say("form.rules")), past("rules", say("form.rules")),
    make("p", { class: "hint" }, say("form.rules_hint")),
    make("div", { class: "scroll" }, make("table", { class: "cells rules", "aria-label": say("form.rules") },
      make("thead", {}, make("tr", {}, ["rule", "level", "weight", "parameters", "broken_when"].map((key) => make("th", { scope: "col" }, say(`column.${key}`))))),
      make("tbody", {}, rows))));
}
