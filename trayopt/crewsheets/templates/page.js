"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const words = data.words;
  const $ = (id) => document.getElementById(id);
  const all = (query, from = document) => Array.from(from.querySelectorAll(query));
  const say = (key, values = {}) => words[key].replace(/\{(\w+)\}/g, (_, name) => values[name]);
  const make = (tag, text, parent) => {
    const node = document.createElement(tag);
    if (text !== undefined) node.textContent = text;
    if (parent) parent.append(node);
    return node;
  };
  document.documentElement.classList.add("js");
  all(".live, .tools").forEach((node) => { node.hidden = false; });

  // What the crew enters stays in this browser, under the name of the plan.
  const place = "sheets:" + data.plan;
  const empty = { ticks: {}, marks: {}, readings: {} };
  let kept = empty;
  try {
    kept = Object.assign({}, empty, JSON.parse(localStorage.getItem(place) || "{}"));
    localStorage.setItem(place, JSON.stringify(kept));
    $("store").textContent = words["js.stored"];
  } catch (wrong) {
    $("store").textContent = words["js.not_stored"];
  }
  const keep = () => {
    try { localStorage.setItem(place, JSON.stringify(kept)); } catch (wrong) { $("store").textContent = words["js.not_stored"]; }
  };

  // The bar of parts takes as many lines as it needs; what is jumped to stays below it.
  const below = () => { document.documentElement.style.scrollPaddingTop = document.querySelector("nav").offsetHeight + 12 + "px"; };
  window.addEventListener("resize", below);
  below();

  // One part at a time on the screen; paper gets them all.
  const views = all("section.view");
  const show = () => {
    const goal = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    const view = (goal && goal.closest("section.view")) || views[0];
    views.forEach((node) => node.classList.toggle("shown", node === view));
    all("nav a").forEach((link) => {
      if (link.hash === "#" + view.id) link.setAttribute("aria-current", "page"); else link.removeAttribute("aria-current");
    });
    if (goal && goal !== view && view.contains(goal)) goal.scrollIntoView(); else window.scrollTo(0, 0);
  };
  window.addEventListener("hashchange", show);
  if (views.length) show();

  // Ticks.
  all("input[data-step]").forEach((box) => {
    box.checked = Boolean(kept.ticks[box.dataset.step]);
    box.addEventListener("change", () => {
      if (box.checked) kept.ticks[box.dataset.step] = 1; else delete kept.ticks[box.dataset.step];
      keep();
      follow();
    });
  });

  // Fibres.
  const trunkAt = new Map(data.trunks.map((trunk, i) => [trunk.id, i]));
  const colour = (position) => {
    const base = (position - 1) % 12, stripes = Math.floor((position - 1) / 12);
    if (!stripes) return words.colours[base];
    const mark = words.colours[base === 7 ? 8 : 7];
    return words.colours[base] + " + " + (stripes === 1 ? words["js.stripe"] : words["js.stripes"]).replace("{n}", stripes).replace("{colour}", mark);
  };
  const seat = (trunk, fibre) => {
    let first = 1;
    for (let i = 0; i < data.trunks[trunk].subunits.length; i += 1) {
      const [ribbons, width] = data.trunks[trunk].subunits[i];
      if (fibre < first + ribbons * width) {
        const at = fibre - first;
        return { subunit: i + 1, ribbon: Math.floor(at / width) + 1, fibre: at % width + 1 };
      }
      first += ribbons * width;
    }
    return null;
  };
  const legOf = (trunk, fibre) => data.legs.findIndex((leg) => leg.trunk === trunk && leg.first <= fibre && fibre <= leg.last);
  const find = (text) => {
    const match = /^(.+):(\d{1,6})$/.exec(text.trim());
    const trunk = match ? trunkAt.get(match[1]) : undefined;
    const fibre = match ? Number(match[2]) : 0;
    const at = trunk === undefined ? null : seat(trunk, fibre);
    if (!at || fibre < 1) return null;
    const found = { trunk, fibre, seat: at, leg: legOf(trunk, fibre), sleeve: null };
    for (const sleeve of data.sleeves) {
      for (const [own, first, other, partner] of [[sleeve[2], sleeve[3], sleeve[4], sleeve[5]], [sleeve[4], sleeve[5], sleeve[2], sleeve[3]]]) {
        if (own === trunk && first <= fibre && fibre < first + sleeve[6]) {
          found.sleeve = sleeve;
          found.partner = { trunk: other, fibre: partner + fibre - first };
        }
      }
    }
    return found;
  };
  const seatWords = (at) => say("js.seat", {
    subunit: at.subunit, subunit_colour: colour(at.subunit), ribbon: at.ribbon, ribbon_colour: colour(at.ribbon), fibre: at.fibre, fibre_colour: colour(at.fibre),
  });
  const trayLink = (tray, parent) => {
    if (!$("splices") || data.trays[tray].state === "closed") { make("span", data.trays[tray].name, parent); return; }
    const link = make("a", data.trays[tray].name, parent);
    link.href = "#tray-" + (tray + 1);
  };
  const tellFibre = (text, out) => {
    out.replaceChildren();
    const found = find(text);
    if (!found) { make("p", say("js.no_fibre", { text }), out); return; }
    make("p", data.trunks[found.trunk].id + ":" + found.fibre + " – " + seatWords(found.seat), out);
    if (found.sleeve) {
      const line = make("p", words["js.tray"] + " ", out);
      trayLink(found.sleeve[0], line);
      make("span", ", " + say("js.sleeve", { sleeve: found.sleeve[1] }), line);
      const other = found.partner;
      make("p", say("js.partner", { fibre: data.trunks[other.trunk].id + ":" + other.fibre }) + " – " + seatWords(seat(other.trunk, other.fibre)), out);
    } else if (found.leg >= 0) {
      const line = make("p", words["js.parked"] + " ", out);
      trayLink(data.legs[found.leg].tray, line);
    } else {
      make("p", words["js.nowhere"], out);
    }
    if (found.leg >= 0) {
      make("p", data.trays[data.legs[found.leg].tray].reopen, out);
      pick(data.legs[found.leg].leg);
    }
  };

  // A leg along its whole way.
  const mark = (query, name, on) => all(query).forEach((node) => node.classList.toggle(name, on));
  const quoted = (value) => '"' + value.replace(/["\\]/g, "\\$&") + '"';
  let picked = "";
  const pick = (name) => {
    all(".picture .on").forEach((node) => node.classList.remove("on"));
    all("path.overway").forEach((node) => node.remove());
    picked = name;
    if ($("leg")) $("leg").value = name;
    const out = $("legway");
    if (out) out.replaceChildren();
    const leg = data.legs.find((item) => item.leg === name);
    if (!leg) return;
    mark(".picture [data-leg=" + quoted(name) + "]", "on", true);
    mark(".picture [data-tray=" + quoted(data.trays[leg.tray].name) + "]", "on", true);
    const front = document.querySelector('svg[data-picture="front"]');
    if (front) {
      const way = document.createElementNS("http://www.w3.org/2000/svg", "path");
      way.setAttribute("class", "overway");
      way.setAttribute("d", data.ways[leg.way]);
      front.append(way);
    }
    if (!out) return;
    make("p", leg.leg + " = " + data.trunks[leg.trunk].id + ":" + leg.first + "-" + leg.last, out);
    const line = make("p", words["js.tray"] + " ", out);
    trayLink(leg.tray, line);
    make("p", leg.says, out);
  };
  if ($("leg")) {
    for (const leg of data.legs) make("option", leg.leg + "  →  " + data.trays[leg.tray].name, $("leg")).value = leg.leg;
    $("leg").addEventListener("change", () => pick($("leg").value));
    for (const trunk of data.trunks) make("option", trunk.id, $("trunk")).value = trunk.id;
    $("trunk").addEventListener("change", () => filter($("trunk").value));
    $("find").addEventListener("submit", (event) => {
      event.preventDefault();
      tellFibre($("fibre").value, $("found"));
    });
  }
  document.addEventListener("pointerover", (event) => {
    const node = event.target.closest && event.target.closest(".picture [data-leg]");
    if (node && event.pointerType === "mouse" && node.dataset.leg !== picked) pick(node.dataset.leg);
  });
  document.addEventListener("click", (event) => {
    const node = event.target.closest && event.target.closest(".picture [data-leg], .picture rect[data-tray]");
    if (!node) return;
    if (node.dataset.leg) { pick(node.dataset.leg); return; }
    const tray = data.trays.findIndex((item) => item.name === node.dataset.tray);
    if (tray >= 0 && $("splices") && data.trays[tray].state !== "closed") location.hash = "tray-" + (tray + 1);
  });

  // One trunk alone.
  const filter = (trunk) => {
    all(".picture [data-trunk]").forEach((node) => node.classList.toggle("far", Boolean(trunk) && node.dataset.trunk !== trunk));
    const legs = new Set(data.legs.filter((leg) => !trunk || data.trunks[leg.trunk].id === trunk).map((leg) => leg.leg));
    all("table.marks tbody tr").forEach((row) => row.classList.toggle("away", !legs.has(row.dataset.key)));
    all("article.tray").forEach((node) => node.classList.toggle("away", Boolean(trunk) && !JSON.parse(node.dataset.trunks).includes(trunk)));
    all("table.tests tr[data-a]").forEach((row) => row.classList.toggle("away", Boolean(trunk) && ![row.dataset.a, row.dataset.b].some((fibre) => fibre.slice(0, fibre.lastIndexOf(":")) === trunk)));
    all("#leg option").forEach((option) => { option.hidden = Boolean(option.value) && !legs.has(option.value); });
    all(".filtered").forEach((node) => {
      node.hidden = !trunk;
      node.querySelector("span").textContent = say("js.filtered", { trunk });
    });
  };
  all(".filtered button").forEach((button) => button.addEventListener("click", () => { $("trunk").value = ""; filter(""); }));

  // A picture is as wide as the screen, and its own size when somebody asks.
  all("button.enlarge").forEach((button) => button.addEventListener("click", () => {
    const large = button.closest(".fits").classList.toggle("large");
    button.setAttribute("aria-pressed", String(large));
  }));

  // The build order: it stands where the ticks are, and moves as far as anybody wants to look ahead.
  const slider = $("slider");
  const ticked = () => {
    let count = 0;
    while (count < data.steps.length && kept.ticks[count + 1]) count += 1;
    return count;
  };
  const follow = () => {
    if (!slider) return;
    slider.value = ticked();
    build(ticked());
  };
  const build = (count) => {
    const done = data.steps.slice(0, count), next = data.steps[count];
    // A trunk is tried on the track and taken off again; it goes back when a tray of it is laid.
    const onTrack = new Set(data.routed);
    done.forEach((step) => {
      if (step.phase === "route") onTrack.add(step.trunk);
      if (step.phase === "take_off" && !data.routed.includes(step.trunk)) onTrack.delete(step.trunk);
      if (step.phase === "lay") data.legs.filter((leg) => leg.tray === step.tray).forEach((leg) => onTrack.add(leg.trunk));
    });
    const standing = data.trays.map((tray, i) => i).filter((i) => data.trays[i].state !== "new");
    const laid = new Set([...standing, ...done.filter((step) => step.phase === "lay").map((step) => step.tray)]);
    const tested = done.filter((step) => step.phase === "test").length;
    $("stepno").textContent = say("js.step_of", { n: count, all: data.steps.length });
    slider.setAttribute("aria-valuetext", $("stepno").textContent + (count ? " – " + done[count - 1].title : ""));
    all('svg[data-picture="front"] [data-trunk]').forEach((node) => node.classList.toggle("notyet", !onTrack.has(trunkAt.get(node.dataset.trunk))));
    all('svg[data-picture="side"] [data-tray]').forEach((node) => {
      const tray = data.trays.findIndex((item) => item.name === node.dataset.tray);
      node.classList.toggle("notyet", !laid.has(tray));
      node.classList.toggle("next", Boolean(next) && next.tray === tray);
    });
    const out = $("now");
    out.replaceChildren();
    const list = make("ul", undefined, out);
    if (count) make("li", say("js.done", { title: done[count - 1].title }), list);
    make("li", say("js.routed", { n: onTrack.size, all: data.trunks.filter((trunk) => trunk.inside).length }), list);
    make("li", say("js.laid", { n: laid.size, all: data.trays.length }), list);
    make("li", say("js.tested", { n: tested, all: data.batches }), list);
    make("li", next ? say("js.next", { title: next.title }) : words["js.finished"], list);
    if (count !== ticked()) make("li", say("js.ahead", { n: ticked() }), list);
  };
  if (slider) {
    const move = (by) => { slider.value = Number(slider.value) + by; build(Number(slider.value)); };
    slider.addEventListener("input", () => build(Number(slider.value)));
    $("back").addEventListener("click", () => move(-1));
    $("forth").addEventListener("click", () => move(1));
    follow();
  }

  // Numbers that the crew enters.
  const decimal = (text) => {
    const clean = text.trim().replace(",", ".");
    return /^-?\d{1,3}(\.\d{1,4})?$/.test(clean) ? Number(clean) : null;
  };
  const field = (cell, label, value, changed) => {
    const input = make("input");
    input.type = "text";
    input.inputMode = "decimal";
    input.autocomplete = "off";
    input.setAttribute("aria-label", label);
    input.value = value === undefined || value === null ? "" : value;
    input.addEventListener("change", () => {
      input.setAttribute("aria-invalid", String(changed(input.value) === false));
      keep();
    });
    cell.replaceChildren(input);
  };
  // Lengths are read as --measured reads them: whole mm, metres, or feet and inches; no thousands separator.
  const length = (text) => {
    const clean = text.trim().toLowerCase();
    let match = /^(\d{1,9})\s*(?:mm)?$/.exec(clean);
    let mm = match ? Number(match[1]) : null;
    if (!match && (match = /^(\d{1,6})(?:[.,](\d{1,3}))?\s*m$/.exec(clean))) mm = Number(match[1]) * 1000 + Number((match[2] || "0").padEnd(3, "0"));
    if (!match && clean && (match = /^(?:(\d{1,6})\s*(?:ft|'|’))?\s*(?:(\d{1,6}(?:\.\d{1,6})?)?\s*(?:(\d{1,4})\/(\d{1,4}))?\s*(?:in|"|”))?$/.exec(clean))) {
      const [feet, inches, part, whole] = [1, 2, 3, 4].map((i) => Number(match[i] || (i === 4 ? 1 : 0)));
      mm = whole ? Math.floor((feet * 12 + inches + part / whole) * 25.4 + 0.5) : null;
    }
    return mm !== null && mm >= 1 && mm <= 200000 ? mm : null;
  };
  const refused = (text) => { const out = $("refused"); if (out) out.textContent = text; };
  const markCells = all("td[data-measured]");
  markCells.forEach((cell) => { const value = kept.marks[cell.dataset.measured]; if (value !== undefined) cell.textContent = value; });
  const markText = (cell) => { const input = cell.querySelector("input"); return (input ? input.value : cell.textContent).trim(); };
  if ($("measure")) {
    $("measure").addEventListener("click", () => {
      $("measure").disabled = true;
      markCells.forEach((cell) => {
        const leg = cell.dataset.measured;
        const start = kept.marks[leg] !== undefined ? kept.marks[leg] : cell.textContent;
        field(cell, say("js.mark_of", { leg }), start, (text) => {
          refused("");
          if (!text.trim()) { delete kept.marks[leg]; return true; }
          if (length(text) === null) {
            delete kept.marks[leg];
            refused(say("js.no_length", { leg, text: text.trim() }));
            return false;
          }
          kept.marks[leg] = text.trim();
          return true;
        });
      });
      const first = document.querySelector("td[data-measured] input");
      if (first) first.focus();
    });
    $("save-marks").addEventListener("click", () => save("measured.csv", [["leg", "measured_mm"], ...markCells.map((cell) => [cell.dataset.measured, markText(cell)]).filter((row) => length(row[1]) !== null)]));
  }
  const waves = data.waves;
  const entered = (cell) => { const input = cell.querySelector("input"); return input ? input.value : cell.textContent; };
  const pairOf = (row, i) => [decimal(entered(row.cells[3 + 3 * i])), decimal(entered(row.cells[4 + 3 * i]))];
  const judge = (row) => {
    let result = "pass";
    waves.forEach((wave, i) => {
      const [there, back] = pairOf(row, i);
      const mean = there === null || back === null ? null : Math.round((there + back) * 5000) / 10000;
      row.cells[5 + 3 * i].textContent = mean === null ? "" : String(mean);
      if (mean !== null && mean > data.limit) result = "fail";
      else if (mean === null && result === "pass") result = "";
    });
    const cell = row.cells[row.cells.length - 1];
    cell.textContent = result ? words["js.result." + result] : "";
    cell.classList.toggle("fail", result === "fail");
  };
  // The mean of a batch at a wavelength, once every splice of it is read both ways there.
  const meanOf = (article) => {
    const rows = all("tr[data-a]", article);
    const said = waves.map((wave, i) => {
      const pairs = rows.map((row) => pairOf(row, i));
      if (pairs.some(([there, back]) => there === null || back === null)) return null;
      const mean = Math.round(pairs.reduce((sum, [there, back]) => sum + (there + back) / 2, 0) / rows.length * 1e6) / 1e6;
      return say(mean > data.batch_limit ? "js.batch_over" : "js.batch_mean", { wave, mean: String(Math.round(mean * 1000) / 1000) });
    }).filter((text) => text !== null);
    article.querySelector(".batch-mean").textContent = said.join(" · ");
  };
  const touched = new Set(Object.keys(kept.readings).map((key) => key.slice(0, key.lastIndexOf("|"))));
  const testRows = all("table.tests tr[data-a]");
  if (touched.size) {
    testRows.filter((row) => touched.has(row.dataset.a)).forEach((row) => {
      waves.forEach((wave, i) => (kept.readings[row.dataset.a + "|" + wave] || []).forEach((value, way) => {
        if (value !== null) row.cells[3 + 3 * i + way].textContent = value;
      }));
      judge(row);
    });
    all("article.batch").forEach(meanOf);
  }
  all("button.enter").forEach((button) => button.addEventListener("click", () => {
    button.disabled = true;
    const rows = all("tr[data-a]", button.closest("article"));
    rows.forEach((row) => waves.forEach((wave, i) => [0, 1].forEach((way) => {
      const cell = row.cells[3 + 3 * i + way];
      const fibre = row.dataset.a;
      field(cell, say("js.reading_of", { fibre, wave, way: way ? "B→A" : "A→B" }), cell.textContent, (text) => {
        if (text.trim() && decimal(text) === null) return false;
        const pair = pairOf(row, i);
        if (pair[0] === null && pair[1] === null) delete kept.readings[fibre + "|" + wave];
        else kept.readings[fibre + "|" + wave] = pair;
        judge(row);
        meanOf(button.closest("article"));
        return true;
      });
    })));
    const first = rows.length && rows[0].querySelector("input");
    if (first) first.focus();
  }));
  if ($("save-readings")) {
    $("save-readings").addEventListener("click", () => {
      const rows = testRows.flatMap((row) => waves.map((wave, i) => [row.dataset.a, wave, ...pairOf(row, i)]));
      save("readings.csv", [["fibre", "wavelength_nm", "a_to_b_db", "b_to_a_db"], ...rows.filter((row) => row[2] !== null || row[3] !== null)]);
    });
  }
  const cellText = (value) => {
    if (value === null || value === undefined) return "";
    let text = String(value);
    if (typeof value !== "number" && /^'*[=+\-@\t\r\n|%＝＋－＠]/.test(text)) text = "'" + text;
    return /[",\r\n]/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
  };
  const save = (name, rows) => {
    const text = rows.map((row) => row.map(cellText).join(",")).join("\r\n") + "\r\n";
    const link = make("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "text/csv;charset=utf-8" }));
    link.download = name;
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  };
})();
