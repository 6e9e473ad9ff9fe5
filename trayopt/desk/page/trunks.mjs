// The ways of trunks: port, direction, loops, and where each is divided.

import { button, fill, make, number, say, table } from "./dom.mjs";
import { act, request } from "./link.mjs";

export function drawTrunks(state) {
  const part = document.getElementById("trunks");
  if (!state.board) {
    fill(part);
    return;
  }
  const running = Boolean(state.run?.running);
  const now = JSON.stringify([state.board.trunks, state.board.through, running]);
  if (part.dataset.drawn === now && part.firstChild) return;
  part.dataset.drawn = now;
  const worked = state.board.trunks.some((trunk) => trunk.own_ribbons.length);
  const ribbons = (word) => (/^\d+$/.test(word) ? say("ribbons.made", { width: Number(word) }) : say(`ribbons.${word}`));
  const rows = state.board.trunks.map((trunk) => {
    const send = (key, value) => {
      const way = { port: trunk.port ?? trunk.own_ports[0] ?? trunk.ports[0], travel: trunk.travel ?? trunk.travels[0], loops: trunk.loops ?? trunk.own_loops[0], divide_at: trunk.divide_at, ...(trunk.ribbons === null ? {} : { ribbons: trunk.ribbons }), [key]: value };
      act("way", { trunk: trunk.trunk, ...way });
    };
    const choose = (key, options, own, value, word = (each) => each, read = key === "loops" ? Number : (each) => each) => make("td", {}, make("select", {
      "data-key": `${key} ${trunk.trunk}`, "aria-label": `${say(`column.${key}`)}, ${trunk.trunk}`, disabled: !trunk.inside || trunk.held === "built",
      onchange: (event) => send(key, read(event.target.value)),
    }, value === null ? make("option", { value: "" }, "–") : null,
    options.map((each) => make("option", { value: each, selected: each === value }, `${word(each)}${own.includes(each) ? "" : ` (${say("trunk.not_own")})`}`))));
    const loops = [...new Set([0, 1, 2, 3, ...trunk.own_loops, ...(trunk.loops === null ? [] : [trunk.loops])])].sort((a, b) => a - b);
    return make("tr", {},
      make("th", { scope: "row" }, make("span", { class: `dot t${trunk.rank % 8}` }), trunk.trunk, trunk.inside ? null : make("small", {}, say("trunk.outside"))),
      choose("port", trunk.ports, trunk.own_ports, trunk.port),
      choose("travel", ["clockwise", "counterclockwise"], trunk.travels, trunk.travel, (each) => say(`travel.${each}`)),
      choose("loops", loops, trunk.own_loops, trunk.loops),
      choose("divide_at", ["tray", "port"], trunk.own_divide_at, trunk.divide_at, (each) => say(`divide_at.${each}`)),
      worked ? (trunk.own_ribbons.length ? choose("ribbons", trunk.own_ribbons.map(String), trunk.own_ribbons.map(String), trunk.ribbons === null ? null : String(trunk.ribbons), ribbons,
        (value) => trunk.own_ribbons.find((each) => String(each) === value)) : make("td", {}, ribbons("as_they_are"))) : null,
      make("td", { class: "n" }, trunk.strip === null ? "–" : number(trunk.strip)),
      make("td", {}, make("input", {
        type: "checkbox", "aria-label": `${say("leg.lock")} ${trunk.trunk}`, checked: trunk.held !== null, disabled: trunk.held === "built" || !trunk.inside, "data-key": `lock ${trunk.trunk}`,
        onchange: (event) => lock(event.target, trunk.trunk),
      })),
      make("td", {}, button(say("do.keep_short"), () => request("begin", { kind: "keep", trunk: trunk.trunk }), { disabled: !trunk.inside || running, title: say("do.keep"), "aria-label": `${say("do.keep_short")} ${trunk.trunk}` })));
  });
  const heads = [say("column.trunk"), ...["port", "travel", "loops", "divide_at", ...(worked ? ["ribbons"] : []), "strip"].map((key) => say(`column.${key}`)), say("column.lock"), say("column.keep")];
  fill(part, table(say("trunk.table"), heads, rows, { class: "ways" }),
    state.board.through.length ? make("ul", { class: "plain through" }, state.board.through.map(passing)) : null);
}

/** Say of a trunk that goes through what is cut, what passes, and how long the window in its sheath is. */
function passing(item) {
  const units = (numbers) => runs(numbers).join(", ") || "–";
  const facts = [say("through.ends", { ends: item.ends.join(", ") }), say("through.cut", { units: units(item.cut) }), say("through.uncut", { units: units(item.uncut) }),
    item.window_mm === null ? say("trunk.outside") : say("through.window", { mm: item.window_mm }), item.loops === null ? "" : say("through.loops", { n: item.loops })];
  return make("li", {}, make("b", {}, item.trunk), ` ${facts.filter(Boolean).join(" · ")}`);
}

/** Write whole numbers as runs: 1–4, 9–24. */
function runs(numbers) {
  const found = [];
  for (const each of numbers) {
    const last = found.at(-1);
    if (last && each === last[1] + 1) last[1] = each;
    else found.push([each, each]);
  }
  return found.map(([from, to]) => (from === to ? `${from}` : `${from}–${to}`));
}

/** Pin a trunk, or take the pin out; a mark that is refused is taken back. */
async function lock(mark, trunk) {
  const done = await act("lock", { trunk, on: mark.checked });
  if (!done) mark.checked = !mark.checked;
}
