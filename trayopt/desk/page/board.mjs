// The stacks with their trays, the door on top: legs are dragged, or picked up and moved by keys or taps.

import { button, english, fill, make, number, say, tell } from "./dom.mjs";
import { act, here, request } from "./link.mjs";

const picked = { leg: null, alone: false, gesture: "" };
let shown = new Set();
let shownAt = null;
let focus = null;

const boardAt = () => document.getElementById("board");
const legNow = (name = picked.leg) => here.state?.board?.legs.find((each) => each.leg === name);
const fellows = (leg) => here.state.board.legs.filter((each) => each.bunch === leg.bunch && each.bunch >= 0);

export function drawBoard(state) {
  const board = state.board;
  if (!board) {
    frame.shape = null;
    fill(boardAt(), make("p", {}, say("board.none")));
    return;
  }
  if (picked.leg && !legNow()) picked.leg = null;
  if (shownAt !== state.at) shown = new Set();
  const lying = new Map();
  for (const leg of board.legs) lying.set(leg.place ?? "", [...(lying.get(leg.place ?? "") ?? []), leg]);
  const rank = new Map(board.trunks.map((trunk) => [trunk.trunk, trunk.rank % 8]));
  const failing = new Set();
  for (const found of board.findings) if (found.level !== "prefer") for (const place of found.places) failing.add(place);
  const tied = new Map(board.tied.flatMap((group, i) => group.map((place) => [place, i + 1])));
  const first = focus && legNow(focus) ? focus : board.legs[0]?.leg;
  const chip = (leg) => drawChip(leg, rank.get(leg.trunk), leg.leg === first);
  const trays = board.stacks.flatMap((stack) => stack.places.map((tray) => {
    const place = `${stack.stack}/${tray.position}`;
    const legs = lying.get(place) ?? [];
    const parts = [stack.kinds.length, tray, legs, failing.has(place), tied.get(place), shown.has(place), hand(legs, first), refusal(tray, place)];
    return { place, key: JSON.stringify(parts), draw: () => drawTray(stack, tray, place, legs, failing.has(place), tied.get(place), chip) };
  }));
  const outside = lying.get("") ?? [];
  const out = { place: "", key: JSON.stringify([outside, legNow()?.place, hand(outside, first)]), draw: () => drawOutside(outside, chip) };
  keepFocus(() => {
    const shape = JSON.stringify([[...rank], board.stacks.map((stack) => [stack.stack, stack.places.length, stack.sides, stack.side])]);
    if (frame.shape !== shape) drawFrame(board, shape);
    for (const part of [...trays, out]) {
      const before = frame.parts.get(part.place);
      if (before.key === part.key) continue;
      const made = part.draw();
      before.node.replaceWith(made);
      frame.parts.set(part.place, { key: part.key, node: made });
    }
  });
}

/** What of the legs in a tray depends on the leg in hand, and on the one that keys come to. */
const hand = (legs, first) => [picked.leg, picked.alone, picked.leg && legNow()?.bunch, legs.some((leg) => leg.leg === first) && first];

const frame = { shape: null, parts: new Map() };

/** Draw the stacks without what is in them; trays are drawn into it, and again only where something of them changes. */
function drawFrame(board, shape) {
  frame.shape = shape;
  frame.parts.clear();
  const empty = (place) => {
    const node = make("div");
    frame.parts.set(place, { key: null, node });
    return node;
  };
  boardAt().replaceChildren(make("div", { class: "stacks" }, board.stacks.map((stack) =>
    make("div", { class: "stack", role: "group", "aria-label": say("board.stack", { stack: stack.stack }) },
      make("h3", {}, stack.stack, " ", make("small", {}, stack.kinds.length > 1 ? "" : stack.kinds[0])), stack.sides.length > 1 ? sideOf(stack) : null,
      stack.places.map((tray) => empty(`${stack.stack}/${tray.position}`)))), empty("")));
}

function keepFocus(draw) {
  const key = boardAt().contains(document.activeElement) ? document.activeElement.dataset.key : null;
  draw();
  if (key && document.activeElement?.dataset.key !== key) {
    boardAt().querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus({ preventScroll: true });
  }
}

function drawOutside(outside, chip) {
  return make("div", { class: `stack outside${outside.length ? "" : " empty"}`, "data-place": "", role: "group", "aria-label": say("board.outside") },
    make("h3", {}, say("board.outside")),
    make("div", { class: "chips" }, outside.map(chip)),
    picked.leg && legNow()?.place ? button(say("board.take_out", { leg: picked.leg }), () => put(null), { "data-key": "out" }) : null);
}

function sideOf(stack) {
  return make("label", { class: "side" }, say("board.side"),
    make("select", { "data-key": `side ${stack.stack}`, onchange: (event) => act("end", { stack: stack.stack, end: event.target.value }) },
      stack.sides.map((side) => make("option", { value: side, selected: side === stack.side }, side))));
}

/** Why the legs in hand do not lie well in a tray, as a key of the catalogue; nothing where they do. */
function refusal(tray, place) {
  const leg = legNow();
  if (!leg || leg.place === place) return "";
  const come = (picked.alone || leg.bunch < 0 ? [leg] : fellows(leg)).filter((each) => each.place !== place);
  if (tray.ends + come.reduce((sum, each) => sum + each.ends, 0) > tray.most) return "room";
  return tray.sleeve_fibres === 1 && come.some((each) => each.ribboned) ? "single" : "";
}

function drawTray(stack, tray, place, legs, fails, group, chip) {
  const part = Math.min(1, tray.ends / tray.most);
  const bar = make("span", { class: tray.ends > tray.most ? "filled over" : "filled" });
  bar.style.width = `${part * 100}%`;
  const takes = say(tray.sleeve_fibres === 1 ? "board.takes_single" : "board.takes", { n: tray.sleeve_fibres });
  const bad = refusal(tray, place);
  const says = [say("board.tray", { place, ends: tray.ends, most: tray.most, sleeves: tray.sleeves, places: tray.most_sleeves }),
    `${tray.tray}: ${takes}`].join(" ");
  const kind = ["tray", legs.length ? "" : "unused", fails ? "fails" : "", bad ? "refuses" : "", shown.has(place) ? "shown" : ""].join(" ");
  return make("div", { class: kind, "data-place": place },
    button([make("b", {}, `${tray.position}${fails ? " !" : ""}`), make("span", { class: "room" }, `${number(tray.ends)}/${number(tray.most)}`),
      group ? make("span", { class: "tie", title: say("board.tied") }, `t${group}`) : null,
      make("span", { class: "unseen" }, ` ${says}`, fails ? ` ${say("board.fails")}` : "", picked.leg ? ` ${say("board.put", { leg: picked.leg })}${bad ? ` ${say(`board.no_${bad}`)}` : ""}` : "")],
    () => (picked.leg ? put(place) : tell(says)),
    { class: "head", "data-key": `tray ${place}` }),
    make("span", { class: "fill" }, bar),
    stack.kinds.length > 1 ? make("p", { class: "kind", title: takes }, tray.tray, " ", make("small", {}, takes)) : null,
    bad ? make("p", { class: "no" }, say(`board.no_${bad}`)) : null,
    make("div", { class: "chips" }, legs.map(chip)));
}

function drawChip(leg, rank, stop) {
  const held = leg.leg === picked.leg;
  const along = !held && picked.leg && !picked.alone && leg.bunch >= 0 && legNow()?.bunch === leg.bunch;
  const marks = [leg.held ? "⚲" : "", leg.moved ? "∗" : ""].join("");
  const says = [leg.leg, say("leg.fibres", { fibres: leg.fibres }), leg.place ? say("leg.in", { place: leg.place }) : say("leg.out"),
    leg.held ? say(`leg.${leg.held}`) : "", leg.moved ? say("leg.moved") : ""].filter(Boolean).join(", ");
  return make("button", {
    type: "button", class: `chip t${rank}${held ? " held" : ""}${along ? " along" : ""}${leg.idle ? " idle" : ""}`, "data-leg": leg.leg,
    "data-key": `leg ${leg.leg}`, tabindex: stop ? "0" : "-1", "aria-pressed": held ? "true" : "false", "aria-label": says, title: says,
    onclick: () => { if (!dragged) pick(held ? null : leg.leg); },
    onkeydown: (event) => keys(event, leg),
    onpointerdown: (event) => grab(event, leg),
    onfocus: () => { focus = leg.leg; },
  }, `${leg.leg}${marks}`);
}

// -- picking up and putting down -------------------------------------------------------------------------------------

function pick(name) {
  picked.leg = name;
  picked.gesture = `${Date.now()}`;
  shown = new Set();
  redraw();
  const leg = legNow();
  tell(leg ? say("leg.picked", { leg: name, place: leg.place ?? say("board.outside") }) : say("leg.put_down"));
}

/** Put down the leg in hand, and say whether there was one. */
export function putDown() {
  if (!picked.leg) return false;
  pick(null);
  return true;
}

function redraw() {
  drawBoard(here.state);
  drawLeg(here.state);
}

async function put(place, gesture = "") {
  const name = picked.leg;
  if (!name) return;
  const [stack, position] = place === null ? [null, null] : split(place);
  const where = place === null ? {} : { stack, position };
  const done = await act("move", { leg: name, alone: picked.alone, ...where, ...(gesture ? { gesture } : {}) });
  if (done) tell(said(name));
}

function said(name) {
  const board = here.state.board;
  const goals = Object.fromEntries(board.goals.map((goal) => [goal.goal, goal.value]));
  const place = legNow(name)?.place ?? say("board.outside");
  return say("leg.now", { leg: name, place, n: board.findings.length, ...goals });
}

function split(place) {
  const cut = place.lastIndexOf("/");
  return [place.slice(0, cut), Number(place.slice(cut + 1))];
}

function keys(event, leg) {
  const step = { ArrowUp: [0, 1], ArrowDown: [0, -1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] }[event.key];
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "Delete" && picked.leg === leg.leg) put(null);
  else if (step && picked.leg === leg.leg) stepTo(leg, step);
  else if (step) focusBeside(event.target, step);
  else return;
  event.preventDefault();
}

/** Move the leg in hand by one tray or one stack; a walk with the keys is one step to undo. */
function stepTo(leg, [across, up]) {
  const stacks = here.state.board.stacks;
  const at = walk.to ?? leg.place;
  const [stack, position] = at ? split(at) : [stacks[0].stack, 0];
  const i = stacks.findIndex((each) => each.stack === stack) + (at ? across : 0);
  if (i < 0 || i >= stacks.length) return;
  const to = Math.min(Math.max(position + up, 1), stacks[i].places.length);
  walkTo(`${stacks[i].stack}/${to}`);
}

const walk = { to: null, busy: false };

/** Move on to where the keys have come meanwhile: no press is lost, and none waits for all before it. */
async function walkTo(place) {
  walk.to = place;
  if (walk.busy) return;
  walk.busy = true;
  try {
    for (let sent = null; sent !== walk.to;) {
      sent = walk.to;
      await put(sent, picked.gesture);
    }
  } finally {
    walk.busy = false;
    walk.to = null;
  }
}

/** Go to the nearest leg in a direction. */
function focusBeside(from, [across, up]) {
  const middle = (box) => [box.left + box.width / 2, box.top + box.height / 2];
  const [x, y] = middle(from.getBoundingClientRect());
  let best = null;
  let least = Infinity;
  for (const chip of boardAt().querySelectorAll(".chip")) {
    const [u, v] = middle(chip.getBoundingClientRect());
    const along = across ? (u - x) * across : (y - v) * up;
    const off = across ? Math.abs(v - y) : Math.abs(u - x);
    if (along > 4 && along + 3 * off < least) [best, least] = [chip, along + 3 * off];
  }
  best?.focus();
}

// -- dragging --------------------------------------------------------------------------------------------------------

let dragged = false;

function grab(event, leg) {
  if (event.button !== 0 || event.pointerType === "touch") return;
  const chip = event.target;
  const from = [event.clientX, event.clientY];
  let ghost = null;
  let over = null;
  dragged = false;
  const move = (at) => {
    if (!ghost && Math.hypot(at.clientX - from[0], at.clientY - from[1]) < 5) return;
    if (!ghost) {
      dragged = true;
      ghost = make("div", { class: "ghost" }, picked.alone ? leg.leg : fellows(leg).map((each) => each.leg).join(" ") || leg.leg);
      document.body.append(ghost);
      document.body.classList.add("dragging");
    }
    ghost.style.left = `${at.clientX + 8}px`;
    ghost.style.top = `${at.clientY + 8}px`;
    const under = document.elementFromPoint(at.clientX, at.clientY)?.closest("[data-place]") ?? null;
    if (under !== over) {
      over?.classList.remove("over");
      over = under;
      over?.classList.add("over");
    }
  };
  const end = (at) => {
    for (const [name, listener] of [["pointermove", move], ["pointerup", end], ["pointercancel", end]]) {
      chip.removeEventListener(name, listener);
    }
    ghost?.remove();
    document.body.classList.remove("dragging");
    over?.classList.remove("over");
    if (ghost && at.type === "pointerup" && over) {
      picked.leg = leg.leg;
      put(over.dataset.place || null);
    }
    setTimeout(() => { dragged = false; });
  };
  chip.setPointerCapture(event.pointerId);
  for (const [name, listener] of [["pointermove", move], ["pointerup", end], ["pointercancel", end]]) {
    chip.addEventListener(name, listener);
  }
}

// -- the leg in hand -------------------------------------------------------------------------------------------------

export function drawLeg(state) {
  const part = document.getElementById("leg");
  const leg = legNow();
  if (!leg) {
    fill(part, make("p", { class: "hint" }, say("leg.none")));
    return;
  }
  const board = state.board;
  const subunit = board.subunits.find((each) => each.trunk === leg.trunk && each.subunit === leg.subunit);
  const others = fellows(leg).filter((each) => each.leg !== leg.leg).map((each) => each.leg);
  const facts = [say("leg.fibres", { fibres: leg.fibres }), leg.place ? say("leg.in", { place: leg.place }) : say("leg.out"),
    leg.cut ? say("leg.cut", { cut: leg.cut }) : "", others.length ? say("leg.with", { legs: others.join(", ") }) : ""].filter(Boolean);
  fill(part, make("div", { class: "hand", role: "group", "aria-label": leg.leg },
    make("p", {}, make("b", {}, leg.leg), ` ${facts.join(" · ")}`),
    make("div", { class: "acts" },
      others.length ? make("label", {}, make("input", { type: "checkbox", checked: picked.alone, "data-key": "alone", onchange: (event) => { picked.alone = event.target.checked; redraw(); } }), say("leg.alone")) : null,
      make("label", {}, make("input", { type: "checkbox", checked: leg.held !== null, disabled: leg.held === "built" || !leg.place, "data-key": "lock", onchange: (event) => act("lock", { leg: leg.leg, on: event.target.checked }) }), say("leg.lock")),
      subunit.divisions.length > 1 ? make("label", {}, say("leg.divide"), make("select", { "data-key": "divide", onchange: (event) => divide(leg, Number(event.target.value)) },
        subunit.divisions.map((of) => make("option", { value: of, selected: of === subunit.of }, say("leg.of", { n: of }))))) : null,
      button(say("do.keep"), () => request("begin", { kind: "keep", leg: leg.leg }), { disabled: !leg.place || Boolean(state.run?.running) }),
      button(say("leg.put_down_do"), () => pick(null)))));
}

async function divide(leg, of) {
  await act("divide", { trunk: leg.trunk, subunit: leg.subunit, of, alone: picked.alone });
}

/** Show where a finding is. */
export function point(places, text) {
  shown = new Set(places);
  shownAt = here.state.at;
  drawBoard(here.state);
  boardAt().querySelector(".tray.shown")?.scrollIntoView({ block: "nearest", inline: "nearest" });
  tell(text);
}

export { english };
