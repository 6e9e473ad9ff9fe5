"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const [ROW, BOX, OUTCOME, TRAYS, LEGS, CROSSINGS, MM, SECONDS, FILL, BROKEN, PROVEN, WHY, PLAN, NAME, CONFLICT] = [...Array(15).keys()];
  const STEP_ROWS = 150, CELL_WHY = 110, STEP_JOBS = 500, MOST_DOTS = 6000;
  const at = id => document.getElementById(id);
  at("tools").addEventListener("submit", event => event.preventDefault());
  const number = (value, digits = 0) =>
    value === null || value === undefined ? "" : value.toLocaleString("en", {minimumFractionDigits: digits, maximumFractionDigits: digits});
  const metres = mm => number(mm === null || mm === undefined ? null : mm / 1000, 1);
  const natural = (a, b) => a.localeCompare(b, "en", {numeric: true});

  const element = (name, attributes = {}, ...children) => {
    const made = name === "svg" || element.drawing
      ? document.createElementNS("http://www.w3.org/2000/svg", name) : document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) if (value !== null) made.setAttribute(key, value);
    made.append(...children.filter(child => child !== null));
    return made;
  };
  const drawn = make => {
    element.drawing = true;
    try { return make(); } finally { element.drawing = false; }
  };
  const href = cell => cell[PLAN] ? encodeURI(cell[PLAN]) : null;

  const boxes = data.boxes.map((box, index) => ({...box, index}))
    .sort((a, b) => (a.litres || 1e9) - (b.litres || 1e9) || natural(a.id, b.id));
  const rows = data.rows.map((row, index) => ({
    index, mix: row[0], rest: row[1], values: row.slice(2, -1), splices: row[row.length - 1],
  }));
  const state = {limit: 0, list: false, column: NAME, down: false, sort: "size"};

  for (const box of boxes) at("box").append(element("option", {value: box.index}, box.id || "(none)"));
  data.factors.forEach((factor, i) => {
    const found = [...new Set(rows.map(row => row.values[i]))].filter(Boolean).sort(natural);
    if (found.length < 2) return;
    const select = element("select", {"data-factor": i}, element("option", {value: ""}, "all"),
      ...found.map(value => element("option", {value}, value.replaceAll("_", " "))));
    at("factors").append(element("label", {}, factor.replaceAll("_", " ") + " ", select));
  });

  const filtered = () => {
    const words = at("find").value.toLowerCase().split(/\s+/).filter(Boolean);
    const outcome = at("outcome").value, box = at("box").value;
    const factors = [...document.querySelectorAll("[data-factor]")].filter(select => select.value);
    return data.cells.filter(cell => {
      const row = rows[cell[ROW]];
      if (outcome && cell[OUTCOME] !== outcome || box && cell[BOX] !== Number(box)) return false;
      if (factors.some(select => row.values[select.dataset.factor] !== select.value)) return false;
      if (!words.length) return true;
      const text = [cell[NAME], row.mix, row.rest, data.boxes[cell[BOX]].id, cell[WHY]].join(" ").toLowerCase();
      return words.every(word => text.includes(word));
    });
  };

  const fits = cell => data.fitting.includes(cell[OUTCOME]);
  const title = cell => {
    const parts = [cell[NAME], data.words[cell[OUTCOME]]];
    if (cell[LEGS] !== null) parts.push(`${number(cell[TRAYS])} trays, ${number(cell[LEGS])} legs, ${number(cell[CROSSINGS])} crossings, ${metres(cell[MM])} m` +
      (cell[FILL] === null ? "" : `, ${number(100 * cell[FILL])} % full`) + (cell[PROVEN] ? ", proven" : ", not proven"));
    if (cell[WHY]) parts.push(cell[WHY]);
    return parts.join("\n");
  };

  const matrixCell = (cell, box) => {
    const body = [element("b", {}, `${data.marks[cell[OUTCOME]]} ${data.short[cell[OUTCOME]]}`)];
    if (fits(cell)) {
      body.push(
        element("span", {}, `${number(cell[TRAYS])} of ${number(box.places)} trays`),
        element("span", {}, `${number(cell[LEGS])} legs, ${number(cell[CROSSINGS])} cross.`),
        element("span", {}, `${metres(cell[MM])} m${cell[PROVEN] ? "" : " or less"}, ${number(cell[SECONDS], 1)} s`));
      if (cell[BROKEN]) body.push(element("span", {class: "broken"}, "preference broken"));
    } else if (cell[WHY]) {
      const short = cell[WHY].length > CELL_WHY && cell[CONFLICT] || cell[WHY];
      body.push(element("span", {class: "why"}, short));
    }
    if (cell[FILL] !== null) {
      const bar = element("i");
      bar.style.width = `${100 * cell[FILL]}%`;
      body.push(element("span", {class: "bar"}, bar));
    }
    const link = href(cell);
    return element(link ? "a" : "div", {class: `cell c-${cell[OUTCOME]}`, href: link, title: title(cell)}, ...body);
  };

  const keys = {
    size: group => [group.row.splices],
    mix: () => [],
    fits: group => [-group.cells.filter(fits).length],
    metres: group => [Math.min(...group.cells.filter(fits).map(cell => cell[MM]), Infinity)],
    seconds: group => [-Math.max(...group.cells.map(cell => cell[SECONDS] || 0))],
  };
  const inBox = box => group => {
    const cell = group.cells.find(found => found[BOX] === box);
    return cell ? [Object.keys(data.words).indexOf(cell[OUTCOME]), cell[MM] ?? Infinity] : [99, 0];
  };

  const drawMatrix = cells => {
    const groups = new Map();
    for (const cell of cells) {
      if (!data.boxes[cell[BOX]].id) continue;
      if (!groups.has(cell[ROW])) groups.set(cell[ROW], {row: rows[cell[ROW]], cells: []});
      groups.get(cell[ROW]).cells.push(cell);
    }
    const key = typeof state.sort === "number" ? inBox(state.sort) : keys[state.sort];
    const order = [...groups.values()].map(group => ({group, key: key(group)}));
    order.sort((a, b) => {
      for (let i = 0; i < a.key.length; i++) if (a.key[i] !== b.key[i]) return a.key[i] - b.key[i];
      return natural(a.group.row.mix, b.group.row.mix) || natural(a.group.row.rest, b.group.row.rest);
    });
    const shown = boxes.filter(box => box.id && cells.some(cell => cell[BOX] === box.index));
    const head = element("tr", {}, element("th", {class: "row"}, "mix"), ...shown.map(box => {
      const button = element("button", {class: "sorts", type: "button", title: "sort by this box"}, box.id || "(none)");
      button.onclick = () => { state.sort = box.index; draw(); };
      const facts = box.litres ? `${number(box.litres)} l, ${number(box.places)} trays, ${number(box.capacity)} splices` : "";
      return element("th", {scope: "col", "aria-sort": state.sort === box.index ? "ascending" : null},
        button, state.sort === box.index ? " ▲" : "", element("small", {}, facts));
    }));
    let before = null;
    const body = order.slice(0, state.limit || STEP_ROWS).map(({group}) => {
      const first = group.row.mix !== before;
      before = group.row.mix;
      return element("tr", {class: first ? "first" : null},
        element("th", {class: "row", scope: "row"}, group.row.mix, element("small", {}, group.row.rest)),
        ...shown.map(box => {
          const found = group.cells.filter(cell => cell[BOX] === box.index);
          return element("td", {}, ...found.map(cell => matrixCell(cell, box)));
        }));
    });
    document.documentElement.style.setProperty("--zoom", Math.min(0.9, 1000 / (170 + 118 * shown.length)).toFixed(2));
    at("matrix").replaceChildren(order.length ? element("table", {}, element("thead", {}, head), element("tbody", {}, ...body))
      : "None of these jobs has an enclosure: see the list of jobs.");
    return order.length > body.length;
  };

  const COLUMNS = [
    [NAME, "job"], [OUTCOME, "outcome"], [WHY, "why"], [ROW, "mix"], [BOX, "enclosure"], [TRAYS, "trays", 1], [FILL, "fill", 1],
    [LEGS, "legs", 1], [CROSSINGS, "crossings", 1], [MM, "metres", 1], [SECONDS, "seconds", 1],
  ];
  const sortable = (cell, column) => {
    if (column === ROW) return rows[cell[ROW]].mix;
    if (column === BOX) return data.boxes[cell[BOX]].id;
    return column === OUTCOME ? Object.keys(data.words).indexOf(cell[OUTCOME]) : cell[column];
  };
  const shownCell = (cell, column) => {
    if (column === NAME) return href(cell) ? element("a", {href: href(cell)}, cell[NAME]) : cell[NAME];
    if (column === OUTCOME) return element("span", {class: `o-${cell[OUTCOME]}`}, `${data.marks[cell[OUTCOME]]} ${data.words[cell[OUTCOME]]}`);
    if (column === FILL) return cell[FILL] === null ? "" : `${number(100 * cell[FILL])} %`;
    if (column === MM) return metres(cell[MM]);
    if (column === SECONDS) return number(cell[SECONDS], 1);
    return typeof cell[column] === "number" && column > OUTCOME ? number(cell[column]) : sortable(cell, column) ?? "";
  };
  const drawList = cells => {
    const sign = state.down ? -1 : 1;
    const order = [...cells].sort((a, b) => {
      const [x, y] = [sortable(a, state.column), sortable(b, state.column)];
      if ((x ?? null) === null || (y ?? null) === null) return ((x ?? null) === null) - ((y ?? null) === null);
      return sign * (typeof x === "string" ? natural(x, y) : x - y) || natural(a[NAME], b[NAME]);
    });
    const head = element("tr", {}, ...COLUMNS.map(([column, words, right]) => {
      const button = element("button", {class: "sorts", type: "button"}, words + (state.column === column ? (state.down ? " ▼" : " ▲") : ""));
      button.onclick = () => {
        state.down = state.column === column && !state.down;
        state.column = column;
        draw();
      };
      const way = state.column === column ? (state.down ? "descending" : "ascending") : null;
      return element("th", {class: right ? "n" : null, scope: "col", "aria-sort": way}, button);
    }));
    const body = order.slice(0, state.limit || STEP_JOBS).map(cell => element("tr", {}, ...COLUMNS.map(([column, , right]) =>
      element("td", {class: right ? "n" : column === WHY ? "why" : null}, shownCell(cell, column)))));
    at("list").replaceChildren(element("table", {}, element("thead", {}, head), element("tbody", {}, ...body)));
    return order.length > body.length;
  };

  const OFFSET = {fits: -7, does_not_fit: 8, not_settled: 14};
  const dot = (cell, x, y) => drawn(() => {
    const shape = cell[OUTCOME] === "fits" ? element("circle", {cx: x, cy: y, r: 4})
      : cell[OUTCOME] === "does_not_fit" ? element("path", {d: `M${x - 4} ${y - 4}l8 8m0-8l-8 8`})
      : cell[OUTCOME] === "not_settled" ? element("path", {d: `M${x - 4} ${y - 4}h8v8h-8z`})
      : element("rect", {x: x - 3.5, y: y - 3.5, width: 7, height: 7, transform: `rotate(45 ${x} ${y})`});
    shape.setAttribute("class", `d-${cell[OUTCOME]}`);
    return element("a", {href: href(cell)}, element("title", {}, title(cell)), shape);
  });
  const ticks = (most, room) => {
    const raw = most / (room < 700 ? 4 : 8), size = 10 ** Math.floor(Math.log10(raw));
    const step = [1, 2, 5, 10].map(times => times * size).find(value => value >= raw);
    return [...Array(Math.floor(most / step) + 1).keys()].map(i => i * step);
  };
  const chart = (home, lanes, value, most, unit) => {
    if (!lanes.length) return home.replaceChildren("No plan is shown.");
    const width = Math.max(340, Math.min(1080, home.clientWidth || 1080)), left = width < 700 ? 130 : 240, high = 30, top = 22;
    const x = amount => left + amount / most * (width - left - 30);
    const svg = drawn(() => element("svg", {viewBox: `0 0 ${width} ${top + lanes.length * high + 6}`, width, role: "group"}));
    drawn(() => {
      for (const tick of ticks(most, width)) svg.append(
        element("line", {x1: x(tick), x2: x(tick), y1: top - 4, y2: top + lanes.length * high}),
        element("text", {x: x(tick), y: 12, "text-anchor": "middle", class: "axis"}, `${number(tick)} ${unit}`));
    });
    lanes.forEach(([name, cells], i) => {
      const y = top + (i + 0.5) * high;
      const most = Math.floor(left / 6.6), short = name.length > most ? name.slice(0, most - 1) + "…" : name;
      drawn(() => svg.append(
        element("line", {x1: left, x2: width - 30, y1: y, y2: y}),
        element("text", {x: left - 10, y: y + 4, "text-anchor": "end"}, element("title", {}, name), short)));
      for (const cell of cells) svg.append(dot(cell, x(value(cell)), y + (OFFSET[cell[OUTCOME]] ?? 0)));
    });
    home.replaceChildren(svg);
  };
  const drawCharts = cells => {
    const planned = cells.filter(cell => cell[LEGS] !== null && cell[PLAN]).slice(0, MOST_DOTS);
    const lanesOf = (names, of, which = () => true) => names
      .map(([key, name]) => [name, planned.filter(cell => of(cell) === key && which(cell))]).filter(lane => lane[1].length);
    chart(at("fill"), lanesOf(boxes.map(box => [box.index, box.id]), cell => cell[BOX]), cell => 100 * (cell[FILL] ?? 0), 100, "%");
    const mixes = new Map();
    for (const row of rows) mixes.set(row.mix, Math.max(mixes.get(row.mix) ?? 0, row.splices));
    const names = [...mixes].sort((a, b) => a[1] - b[1] || natural(a[0], b[0])).map(([mix]) => [mix, mix]);
    chart(at("metres"), lanesOf(names, cell => rows[cell[ROW]].mix, fits), cell => cell[MM] / 1000,
      Math.max(1, ...planned.filter(fits).map(cell => cell[MM] / 1000)), "m");
  };

  const draw = () => {
    const cells = filtered();
    at("shown").textContent = `${number(cells.length)} of ${number(data.cells.length)} jobs; ${number(cells.filter(fits).length)} fit.`;
    at("matrix").hidden = state.list;
    at("list").hidden = !state.list;
    at("asmatrix").setAttribute("aria-pressed", String(!state.list));
    at("aslist").setAttribute("aria-pressed", String(state.list));
    at("more").hidden = !(state.list ? drawList : drawMatrix)(cells);
    drawCharts(cells);
  };
  const again = () => { state.limit = 0; draw(); };
  at("tools").addEventListener("input", event => {
    if (event.target.id === "sort") state.sort = event.target.value;
    again();
  });
  at("asmatrix").onclick = () => { state.list = false; again(); };
  at("aslist").onclick = () => { state.list = true; again(); };
  at("more").onclick = () => {
    state.limit = (state.limit || (state.list ? STEP_JOBS : STEP_ROWS)) + (state.list ? STEP_JOBS : STEP_ROWS);
    draw();
  };
  draw();
})();
