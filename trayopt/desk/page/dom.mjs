// Elements, words and numbers: what every part of the page is made with.

const entries = JSON.parse(document.getElementById("words").textContent);
export const language = document.documentElement.lang;

const written = new Intl.NumberFormat(language, { maximumFractionDigits: 2 });

export function number(value) {
  return typeof value === "number" ? written.format(value) : String(value);
}

/** Say a text of the catalogue; "one|more" is decided by n. */
export function say(key, values = {}) {
  let text = entries[key];
  if (text === undefined) return key;
  if (text.includes("|") && "n" in values) text = text.split("|")[values.n === 1 ? 0 : 1];
  return text.replace(/\{(\w+)\}/g, (_, name) => number(values[name] ?? ""));
}

export const known = (key) => key in entries;

/** Make an element: attributes by name, "on…" as listeners, the rest as children. */
export function make(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name in made && typeof value === "boolean") made[name] = value;
    else if (name === "value") {
      if (tag === "input") made.defaultValue = value;
      made.value = value;
    }
    else made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.flat(3).filter((child) => child !== null && child !== undefined && child !== false));
  return made;
}

/** Put new content into a part of the page; what had the focus has it again where it is still there. */
export function fill(part, ...children) {
  const at = part.contains(document.activeElement) ? document.activeElement : null;
  const key = at?.dataset.key;
  const from = at?.selectionStart;
  const open = new Set([...part.querySelectorAll("details[open][data-key]")].map((each) => each.dataset.key));
  part.replaceChildren(...children.flat(3).filter(Boolean));
  for (const each of part.querySelectorAll("details[data-key]")) if (open.has(each.dataset.key)) each.open = true;
  if (!key) return;
  const again = part.querySelector(`[data-key="${CSS.escape(key)}"]`);
  if (!again) return;
  again.focus({ preventScroll: true });
  if (typeof from === "number" && again.setSelectionRange && again.type === "text") again.select();
}

/** Tell those who do not see it. */
export function tell(text) {
  const told = document.getElementById("told");
  if (told.textContent !== text) told.textContent = text;
}

export const english = (text, tag = "span") => make(tag, { lang: "en" }, text);

/** A sentence in the language of the page; English, and marked as that, where there is none in it. */
export function sentence(said, tag = "span", before = "") {
  const own = typeof said === "object" && language in said;
  return make(tag, language === "en" || own ? {} : { lang: "en" }, before, plainly(said));
}

/** Sentences one below the other. */
export const sentences = (all) => make("ul", { class: "plain" }, all.map((each) => sentence(each, "li")));

/** The same as text alone. */
export const plainly = (said) => (typeof said === "object" ? said[language] ?? said.en : said);

export function button(text, onclick, more = {}) {
  return make("button", { type: "button", onclick, ...more }, text);
}

export function table(caption, heads, rows, more = {}) {
  return make("div", { class: "scroll", tabindex: "0", role: "group", "aria-label": caption },
    make("table", more,
      make("caption", {}, caption),
      make("thead", {}, make("tr", {}, heads.map((head) => make("th", { scope: "col" }, head)))),
      make("tbody", {}, rows)));
}
