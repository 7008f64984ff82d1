// The only door to the page. Text enters as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";

/** Make an element. `of`: text, class, or attributes; children follow. */
export function el(tag, of = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(of)) {
    if (name === "text") element.textContent = value;
    else if (name === "class") element.className = value;
    else if (name === "on") for (const [event, act] of Object.entries(value)) element.addEventListener(event, act);
    else if (value !== null && value !== false) element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.filter((each) => each !== null));
  return element;
}

export function write(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

export function mark(element, className) {
  if (element.className !== className) element.className = className;
}

export function show(element, is) {
  if (element.hidden === is) element.hidden = !is;
}

export function button(text, act, className = "") {
  return el("button", { type: "button", class: className, text, on: { click: act } });
}

/** The shape of a decision; words beside it say the same. */
export function shape() {
  const svg = document.createElementNS(SVG, "svg"), use = document.createElementNS(SVG, "use");
  svg.setAttribute("class", "shape");
  svg.setAttribute("aria-hidden", "true");
  svg.append(use);
  return { element: svg, set: (name) => { if (use.getAttribute("href") !== `#shape-${name}`) use.setAttribute("href", `#shape-${name}`); } };
}

/** Fill a list with lines of text, and touch it only where they changed. */
export function lines(list, texts) {
  while (list.children.length > texts.length) list.lastChild.remove();
  texts.forEach((text, at) => {
    if (list.children[at] === undefined) list.append(el("li"));
    write(list.children[at], text);
  });
}

/** Lay out anew only where `key` changed: what stands keeps its focus, and is not said again. */
export function relaid(element, key, lay) {
  if (element.dataset.key === key) return false;
  element.dataset.key = key;
  element.replaceChildren(...lay());
  return true;
}

/** Keep one part for each key, in their order: those that stay are not touched. */
export function keyed(element, keys, make, kept) {
  for (const [key, part] of kept) if (!keys.includes(key)) { part.element.remove(); kept.delete(key); }
  keys.forEach((key, at) => {
    if (!kept.has(key)) kept.set(key, make(key));
    const { element: own } = kept.get(key);
    if (element.children[at] !== own) element.insertBefore(own, element.children[at] ?? null);
  });
}

/** A list to choose one of; `draw` takes pairs of value and text, and the one that is chosen. */
export function picker(label, act) {
  const select = el("select", { "aria-label": label, class: "pick" });
  select.addEventListener("change", () => act(select.value));
  return { element: select, draw(pairs, chosen) {
    relaid(select, JSON.stringify(pairs), () => pairs.map(([value, text]) => el("option", { value, text })));
    if (chosen !== null && select.value !== chosen) select.value = chosen;
    show(select, pairs.length > 1);
  } };
}
