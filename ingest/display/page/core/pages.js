// A list too long for its place is shown page by page, rather than in tiny text.

/** How long a page stands, for a person who reads two lines a second and looks up from work. */
export const PAGE_MS = 7000;

/**
 * Cut a list into pages.
 * @param {Array<{top: number, bottom: number}>} boxes of the items, px, in their order
 * @param {number} room height of a page, px
 * @returns {Array<[number, number]>} first item of each page, and the one after its last; an item
 *   that is higher than a page has one of its own
 */
export function pagesOf(boxes, room) {
  const pages = [];
  let first = 0;
  boxes.forEach(({ bottom }, at) => {
    if (at > first && bottom - boxes[first].top > room) {
      pages.push([first, at]);
      first = at;
    }
  });
  if (boxes.length > 0) pages.push([first, boxes.length]);
  return pages;
}

/** Which page stands, of so many: the next one after a while, until a person turns it. */
export class Leaf {
  constructor() {
    this.at = 0;
    this.since = null;
    this.held = false;
  }

  restart() {
    this.at = 0;
    this.since = null;
    this.held = false;
  }

  /** A person turns the page: from now on nobody else does. */
  turn() {
    this.at += 1;
    this.held = true;
  }

  of(count, now) {
    this.since ??= now;
    if (!this.held && now - this.since >= PAGE_MS) {
      this.at += 1;
      this.since = now;
    }
    if (count > 0) this.at %= count;
    return this.at;
  }
}
