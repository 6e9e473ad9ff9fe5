// Why not, what would help, what preferences cost, and how the plan stands beside the best one.

import { button, english, fill, make, number, say, sentence, sentences, table } from "./dom.mjs";
import { act, note, request } from "./link.mjs";

const limit = { s: 60 };
let pair = null;
let pairAt = 0;

export function drawReasons(state) {
  const part = document.getElementById("reasons");
  const off = Boolean(state.run?.running) || !state.board || state.faults.length > 0;
  if (pair && pairAt !== state.at) pair = null;
  const begin = (kind) => request("begin", { kind, limit_s: limit.s });
  fill(part,
    make("div", { class: "acts" },
      button(say("do.explain"), () => begin("explain"), { class: "main", disabled: off, "data-key": "explain" }),
      button(say("do.prices"), () => begin("prices"), { disabled: off, "data-key": "prices" }),
      button(say("do.compare"), compare, { disabled: !state.board?.best_known, "data-key": "compare", title: state.board?.best_known ? "" : say("why.no_best") }),
      make("label", {}, say("search.limit"), make("input", { type: "number", min: "1", max: "86400", value: limit.s, "data-key": "why limit", onchange: (event) => { limit.s = Number(event.target.value) || 60; } }), " s")),
    state.run?.running && state.run.kind !== "solve" ? make("p", { class: "hint" }, say("why.running")) : null,
    state.results.keep ? block(say("why.keep", { what: state.results.keep.about }), explained("keep", state.results.keep), () => act("forget", { kind: "keep" })) : null,
    state.results.explain ? block(say("why.explain"), explained("explain", state.results.explain), () => act("forget", { kind: "explain" })) : null,
    state.results.prices ? block(say("why.prices"), priced(state.results.prices), () => act("forget", { kind: "prices" })) : null,
    pair ? block(say("why.compare"), compared(pair), () => { pair = null; drawReasons(state); }) : null,
    state.results.keep || state.results.explain || state.results.prices || pair ? null : make("p", { class: "hint" }, say("why.none")));

  async function compare() {
    pair = await request("compare");
    pairAt = state.at;
    drawReasons(state);
  }
}

function block(head, content, close) {
  return make("section", { class: "answer" }, make("div", { class: "answer-head" }, make("h3", {}, head), button(say("do.close"), close)), content);
}

function failed(found) {
  if (found.stopped) return make("p", {}, say("found.stopped"));
  if (found.fault || found.faults) return make("div", { class: "bad" }, found.fault ? make("p", { lang: "en" }, found.fault) : sentences(found.faults.map((each) => each.text)));
  return null;
}

function cost(items) {
  if (!items?.length) return null;
  return make("ul", { class: "costs" }, items.filter((each) => each.value !== each.kept).map((each) => make("li", {},
    `${say(`goal.${each.goal}`)}: ${number(each.value)} → ${number(each.kept)}${each.proven ? "" : ` ${say("why.not_proven")}`}`)));
}

function explained(kind, found) {
  const bad = failed(found);
  if (bad) return bad;
  const made = found.explanation;
  return [
    make("p", { class: "summary" }, sentence(made.summary)),
    made.expected ? [make("p", {}, say(made.expected.possible === null ? "why.keep_open" : made.expected.possible ? "why.keep_can" : "why.keep_cannot")),
      made.expected.cost ? (made.expected.cost.some((each) => each.value !== each.kept) ? cost(made.expected.cost) : make("p", {}, say("why.keep_free"))) : null,
      made.expected.differences.length ? make("ul", {}, made.expected.differences.map((each) => sentence(each, "li"))) : null] : null,
    kind === "keep" && !made.expected ? make("p", {}, say("why.keep_open")) : null,
    made.conflicts.map((conflict, i) => [make("h4", {}, say(conflict.minimal ? "why.conflict_minimal" : "why.conflict", { n: i + 1 })),
      make("ul", {}, conflict.groups.map((group) => make("li", {}, english(`${group.rule} ${group.subject}`, "b"), sentence(group.because, "span", ": "))), conflict.root ? sentence(conflict.root, "li") : null)]),
    found.ways.length ? [make("h4", {}, say("why.ways")), make("ol", {}, found.ways.map((way, i) => drawWay(kind, way, i))),
      found.ways.some((way) => way.goals.some(isOpen)) ? make("p", { class: "hint" }, say("why.starred")) : null] : null,
    made.preferences?.length ? [make("h4", {}, say("why.preferences")), make("ul", {}, made.preferences.map((each) => make("li", {},
      english(`${each.rule} ${each.subject}`, "b"), sentence(each.because, "span", ": "), sentence(each.reason, "span", "; "), each.cost ? [say("why.cost"), cost(each.cost)] : null)))] : null,
    made.bounds?.length ? [make("h4", {}, say("why.bounds")), make("ul", {}, made.bounds.map((each) => make("li", {},
      `${say(`goal.${each.goal}`)}: ${number(each.value)}, ${say("why.at_least", { n: each.at_least })} `, each.because.map((why, i) => sentence(why, "span", i ? "; " : "")))))] : null,
  ];
}

/** Whether a goal of a way out is not proven to be the best. */
const isOpen = (goal) => goal.bound !== goal.value;

function drawWay(kind, way, i) {
  const can = way.plan || way.folder;
  return make("li", {},
    make("p", {}, sentence(way.says, "b"), way.least ? "" : ` ${say("why.not_least")}`),
    way.goals.length ? make("p", { class: "hint" }, say("why.then"), way.goals.map((each) => ` ${say(`goal.${each.goal}.short`)} ${number(each.value)}${isOpen(each) ? "*" : ""}`).join(",")) : null,
    make("details", { "data-key": `way ${kind} ${i}` }, make("summary", {}, say("why.edit")), make("pre", { lang: "en", tabindex: "0" }, way.edit)),
    can ? button(say("do.apply"), () => apply(kind, i), { "data-key": `apply ${kind} ${i}` }) : make("p", { class: "hint" }, say("why.no_file")));
}

async function apply(kind, way) {
  const done = await act("apply", { kind, way });
  if (!done) return;
  const made = done.answer;
  const acts = made?.jobs.map((job) => button(say("do.open", { job: `${made.folder}/${job}` }), () => act("open", { folder: made.folder, job })));
  note("applied", { acts, level: "good", close: true, text: made ? say("note.applied_beside", { folder: made.folder, command: made.jobs.map((job) => `trayopt desk ${made.folder}/${job}`).join("; ") }) : say("note.applied") });
}

function priced(found) {
  const bad = failed(found);
  if (bad) return bad;
  const prices = found.prices;
  if (!prices) return make("p", {}, say("why.no_prices"));
  const row = (head, worth, broken) => make("tr", {}, make("th", { scope: "row", lang: head.lang ?? null }, head.text),
    ["minutes", "legs", "trays"].map((key) => make("td", { class: "n" }, number(worth[key]))),
    make("td", { class: "n" }, number(Math.round(worth.leg_length_mm / 100) / 10)), make("td", {}, broken), make("td", {}, say(worth.proven ? "why.proven" : "why.not_proven")));
  const heads = ["preference", "minutes", "legs", "trays", "metres", "broken", "proof"].map((key) => say(`price.${key}`));
  return [
    table(say("why.prices"), heads, [row({ text: say("price.with_all") }, prices.best, ""),
      ...prices.priced.map((each) => row({ text: `${say("price.without")} ${each.rule}` }, each.without, each.broken ? number(each.broken) : ""))]),
    prices.free.length ? make("p", {}, say("price.free"), " ", english(prices.free.join(", "))) : null,
    prices.open.length ? make("p", {}, say("price.open"), " ", english(prices.open.join(", "))) : null,
    make("p", { class: "hint" }, say("price.least", { n: prices.least_minutes })),
  ];
}

function compared(pair) {
  const heads = [say("goal.goal"), say("pair.mine"), say("pair.best"), say("pair.difference")];
  return [
    make("p", {}, say(`pair.better.${pair.better}`)),
    table(say("why.compare"), heads, pair.goals.map((each) => make("tr", {}, make("th", { scope: "row" }, say(`goal.${each.goal}`)),
      [each.a, each.b].map((value) => make("td", { class: "n" }, number(value))), make("td", { class: "n" }, each.difference ? `${each.difference > 0 ? "+" : "−"}${number(Math.abs(each.difference))}` : "")))),
    pair.trunks.length || pair.legs.length ? table(say("pair.where"), [say("pair.what"), say("pair.mine"), say("pair.best")],
      [...pair.trunks.map((each) => [each.trunk, each.a, each.b]), ...pair.legs.map((each) => [each.fibres, each.a, each.b])].map(([head, a, b]) =>
        make("tr", {}, make("th", { scope: "row" }, head), make("td", {}, sentence(a)), make("td", {}, sentence(b))))) : make("p", {}, say("pair.same")),
    pair.findings.length ? [make("h4", {}, say("pair.findings")), make("ul", {}, pair.findings.map((each) => make("li", {}, `${say(each.plan === "A" ? "pair.mine" : "pair.best")}: `, english(`${each.rule} ${each.subject}`), sentence(each.found, "span", ": "))))] : null,
  ];
}
