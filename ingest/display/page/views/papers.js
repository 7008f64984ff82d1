// Reports and certificates of the workshop's folder.

import { button, el } from "./dom.js";

const NAME = /^[A-Za-z0-9][A-Za-z0-9._-]{0,120}$/;

export function papersView(ctx) {
  const { tell } = ctx, list = el("ul", { class: "papers" }), told = el("p", { role: "status" });
  const element = el("div", { class: "stack" }, el("h2", { text: tell("nav.papers") }), told, list, el("div", { class: "row" }, button(tell("papers.again"), () => fill())));
  async function fill() {
    try {
      const found = await (await fetch("/papers/", { signal: AbortSignal.timeout(5000) })).json();
      if (found === null) { told.textContent = tell("papers.no-folder"); return; }
      const names = found.filter((name) => typeof name === "string" && NAME.test(name));
      list.replaceChildren(...names.map((name) => el("li", {}, el("a", { href: `/papers/${name}`, target: "_blank", rel: "noopener", text: name }))));
      told.textContent = names.length ? "" : tell("papers.none");
    } catch {
      told.textContent = tell("papers.unreachable");
    }
  }
  fill();
  return { element, draw() {} };
}
