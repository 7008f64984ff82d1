// What the service says, in the reader's language; its own words are marked, for eyes and ears.

import { el, write } from "./dom.js";

/** Write what `ctx.say` makes of a text into an element. */
export function speak(element, text, ctx) {
  const { text: told, own } = ctx.say(text);
  write(element, told);
  const mark = own ? ctx.tell("own.words") : "";
  if ((element.dataset.own ?? "") !== mark) element.dataset.own = mark;
  const lang = own ? "en" : "";
  if ((element.getAttribute("lang") ?? "") !== lang) lang ? element.setAttribute("lang", lang) : element.removeAttribute("lang");
}

/** Fill a list with lines of the service, and touch it only where they changed. */
export function spoken(list, texts, ctx) {
  while (list.children.length > texts.length) list.lastChild.remove();
  texts.forEach((text, at) => {
    if (list.children[at] === undefined) list.append(el("li"));
    speak(list.children[at], text, ctx);
  });
}
