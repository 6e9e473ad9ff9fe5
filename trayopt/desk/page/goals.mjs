// Goals, findings and the search: what is judged at any time, and what is known so far.

import { point } from "./board.mjs";
import { button, english, fill, make, number, plainly, say, sentence, sentences, table } from "./dom.mjs";
import { act, here, request } from "./link.mjs";

const at = (id) => document.getElementById(id);
const limit = { s: 60 };
const FEW = 30;
let all = false;

export function drawGoals(state) {
  const board = state.board;
  const run = state.run?.running ? state.run : null;
  if (!board) {
    fill(at("goals"));
    fill(at("findings"));
    at("brief").textContent = "";
    return;
  }
  let worse = null;
  const rows = board.goals.map((goal) => {
    const live = run?.goals[goal.goal];
    const best = live?.[0] ?? goal.best;
    const bound = live?.[1] ?? goal.bound;
    const off = best === null ? 0 : goal.value - best;
    if (worse === null && off !== 0) worse = off > 0;
    return make("tr", { class: off > 0 ? "worse" : off < 0 ? "better" : "" },
      make("th", { scope: "row", title: say(`goal.${goal.goal}.long`) }, say(`goal.${goal.goal}`)),
      make("td", { class: "n" }, make("b", {}, number(goal.value)), off ? make("span", { class: "off" }, ` ${off > 0 ? "+" : "−"}${number(Math.abs(off))}`) : ""),
      make("td", { class: "n" }, best === null ? "–" : number(best)),
      make("td", { class: "n" }, bound === null || bound === undefined ? "–" : number(bound)));
  });
  const broken = board.findings.filter((found) => found.level !== "prefer").length;
  const verdict = board.passed ? say(board.proven ? "goal.proven" : board.claimed ? "goal.claimed" : "goal.kept")
    : [board.unplaced ? say("goal.out", { n: board.unplaced }) : "", broken ? say("goal.broken", { n: broken }) : "",
      board.unplaced && board.proven ? say("goal.out_proven") : ""].filter(Boolean).join(" ");
  fill(at("goals"),
    make("p", { class: `verdict ${board.passed ? "yes" : "no"}` }, verdict,
      " ", !board.passed && (board.proven || board.claimed) ? button(say("do.to_reasons"), () => document.querySelector('[data-view="why"]').click()) : null,
      worse === true ? ` ${say("goal.worse")}` : worse === false && board.passed ? ` ${say("goal.better")}` : ""),
    table(say("goal.table"), [say("goal.goal"), say("goal.now"), say(run ? "goal.so_far" : "goal.best"), say("goal.bound")], rows, { class: "goals" }));
  at("brief").textContent = board.goals.map(brief).join(" · ");
  drawFindings(board);
}

/** A goal in a few characters: a unit stands behind its number. */
const brief = ({ goal, value }) => (goal.endsWith("_mm") ? [number(value), say(`goal.${goal}.short`)] : [say(`goal.${goal}.short`), number(value)]).join(" ");

function drawFindings(board) {
  const now = JSON.stringify([board.findings, board.more_findings, all]);
  if (at("findings").dataset.drawn === now && at("findings").firstChild) return;
  at("findings").dataset.drawn = now;
  const few = all ? board.findings : board.findings.slice(0, FEW);
  const items = few.map((found) => make("li", { class: found.level },
    make("span", { class: "level" }, say(`level.${found.level}`)), " ",
    found.places.length
      ? button(english(`${found.rule} ${found.subject}`), () => point(found.places, plainly(found.because)), { class: "as-link", "aria-label": say("finding.show", { what: `${found.rule} ${found.subject}` }) })
      : english(`${found.rule} ${found.subject}`, "b"),
    sentence(found.because, "span", " ")));
  fill(at("findings"), make("details", { open: true, "data-key": "findings" },
    make("summary", {}, say("finding.head", { n: board.findings.length })),
    items.length ? make("ul", { class: "findings" }, items) : make("p", { class: "hint" }, say("finding.none")),
    few.length < board.findings.length ? button(say("finding.all", { n: board.findings.length }), () => { all = true; drawFindings(board); }, { "data-key": "all findings" }) : null,
    all && board.more_findings ? make("p", {}, say("finding.more", { n: board.more_findings })) : null));
}

export function drawSearch(state) {
  const part = at("search");
  const run = state.run;
  const running = Boolean(run?.running);
  const drawn = JSON.stringify([running, run?.stopping, run?.kind, state.board?.changes, state.board?.best_known,
    state.faults.length, Object.entries(state.results).map(([kind, each]) => [kind, each.seconds, each.taken]), running ? run.seconds : 0]);
  if (part.dataset.drawn === drawn) return;
  part.dataset.drawn = drawn;
  const begin = (kind) => request("begin", { kind, limit_s: limit.s });
  const off = running || !state.board || state.faults.length > 0;
  const seconds = make("input", { type: "number", min: "1", max: "86400", value: limit.s, disabled: running, "data-key": "limit", onchange: (event) => { limit.s = Number(event.target.value) || 60; } });
  fill(part,
    make("div", { class: "acts" },
      button(say("do.solve"), () => begin("solve"), { class: "main", disabled: off, "data-key": "solve" }),
      make("label", {}, say("search.limit"), seconds, " s"),
      button(say("do.mend"), () => begin("mend"), { disabled: off || !state.board?.changes, "data-key": "mend", title: say("do.mend.long") }),
      button(say("do.keep_all"), () => request("begin", { kind: "keep", limit_s: limit.s }), { disabled: off || !state.board?.changes, "data-key": "keep", title: say("do.keep_all.long") }),
      running ? button(say(run.kind === "solve" ? "do.stop" : "do.end"), () => request("halt"), { class: "stop", disabled: run.stopping, "data-key": "stop" }) : null),
    running ? drawRun(run) : null,
    running ? null : results(state));
}

function drawRun(run) {
  return make("div", { class: "run" },
    make("p", {}, say(`run.${run.kind}`, { seconds: run.seconds }), run.stopping ? ` ${say("run.stopping")}` : ""),
    run.steps.length ? make("ol", { class: "steps", tabindex: "0", "aria-label": say("run.steps") }, run.steps.map(drawStep)) : null);
}

/** Say a step of the search: a bound with who counted it and for which plans, or the goals of a better plan. */
function drawStep(step) {
  const of = (goals) => Object.entries(goals).map(([goal, value]) => `${say(`goal.${goal}`)} ${number(value)}`).join(", ");
  const at = make("span", { class: "at" }, say("step.at", { seconds: step.seconds.toFixed(1) }));
  if (step.values) return make("li", {}, at, say("step.plan", { goals: of(step.values) }));
  const { unplaced, broken_must, ...more } = step.given;
  const whole = unplaced === 0 && broken_must === 0;
  const given = of(whole ? more : step.given);
  return make("li", {}, at, `${say("step.bound", { goal: say(`goal.${step.goal}`), value: step.bound })} `, sentence(step.by),
    `; ${say(whole ? "step.whole" : "step.any")}${given ? ` ${say("step.given", { goals: given })}` : ""}`);
}

function results(state) {
  const made = [];
  for (const kind of ["solve", "mend"]) {
    const found = state.results[kind];
    if (!found) continue;
    const close = button(say("do.close"), () => act("forget", { kind }));
    if (found.fault || found.faults) {
      made.push(make("div", { class: "note bad" }, make("div", {}, kind === "mend" && found.faults ? make("p", {}, say("found.mend.faults")) : null,
        found.fault ? make("p", { lang: "en" }, found.fault) : sentences(found.faults.map((each) => each.text))), make("div", { class: "acts" }, close)));
    } else if (found.plan) {
      const moves = kind === "mend" && found.moves.length ? make("details", { "data-key": "moves" }, make("summary", {}, say("found.moves", { n: found.moves.length })),
        make("ol", {}, found.moves.map((move) => sentence(move, "li")))) : null;
      made.push(make("div", { class: "note good" },
        make("div", {}, make("p", {}, [found.cut_short ? say("found.cut_short") : "", say(`found.${kind}${found.left ? ".left" : found.taken ? ".taken" : ""}`, { seconds: found.seconds })].join(" ").trim()), moves),
        make("div", { class: "acts" }, found.taken ? null : button(say("do.take"), () => act("take", { kind })), close)));
    } else {
      const key = kind === "mend" ? (found.impossible ? "found.mend.impossible" : "found.mend.none") : "found.solve.none";
      made.push(make("div", { class: "note warn" }, make("div", {}, make("p", {}, say(found.stopped ? (kind === "solve" ? "found.stopped_early" : "found.stopped") : key)),
        found.clash?.length ? make("ul", {}, found.clash.map((each) => sentence(each, "li"))) : null), make("div", { class: "acts" }, close)));
    }
  }
  const kept = state.results.keep;
  if (kept) {
    made.push(make("div", { class: "note good" }, make("p", {}, say("found.keep")),
      make("div", { class: "acts" }, button(say("do.to_why"), () => document.querySelector('[data-view="why"]').click()))));
  }
  return made;
}

export { here };
