// Shows a list page by page where it is higher than its place.

import { Leaf, pagesOf } from "../core/pages.js";
import { button, show, write } from "./dom.js";

/**
 * @param {HTMLElement} list its children are the items
 * @param {() => number} room height that there is for them, px; Infinity: all are shown
 */
export function pager(list, room, ctx) {
  const leaf = new Leaf(), next = button("", () => { leaf.turn(); ctx.redraw(); }, "leaf");
  let key = "", words = "", pages = [];
  return { button: next, draw(now) {
    const items = [...list.children].filter((each) => !each.hasAttribute("data-empty")), high = room();
    const said = items.map((each) => each.textContent).join("|");
    // Figures change all the time: only what changes the layout is measured anew.
    const found = JSON.stringify([items.length, items.map((each) => each.textContent.length), Math.round(high), list.clientWidth, getComputedStyle(list).fontSize]);
    if (found !== key) {
      key = found;
      if (words.length !== said.length || items.length === 0) leaf.restart();
      words = said;
      for (const each of items) show(each, true);
      pages = high === Infinity ? [[0, items.length]] : pagesOf(items.map((each) => ({ top: each.offsetTop, bottom: each.offsetTop + each.offsetHeight })), high);
    }
    const at = leaf.of(pages.length, now), [first, end] = pages[at] ?? [0, items.length];
    items.forEach((each, place) => show(each, place >= first && place < end));
    show(next, pages.length > 1);
    write(next, ctx.tell("pages.next", { n: at + 1, of: pages.length }));
  } };
}

/** Height from the top of an element to what stands at the bottom of the screen. */
export function roomBelow(element) {
  const panel = document.getElementById("cautions");
  const top = element.getBoundingClientRect().top + scrollY;
  return Math.max(120, innerHeight - top - (panel.hidden ? 0 : panel.offsetHeight) - 24);
}
