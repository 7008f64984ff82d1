// Words of the page in the reader's language, from a file of its own for each.

import { plain } from "./words.js";

/** Return `tell(key, values)`: the words of a key, with {names} filled in. */
export function teller(words, fallback) {
  return (key, values = {}) => {
    const found = lookUp(words, key) ?? lookUp(fallback, key) ?? plain(key.split(".").at(-1));
    return found.replace(/\{(\w+)\}/g, (_, name) => String(values[name] ?? ""));
  };
}

function lookUp(words, key) {
  return Object.hasOwn(words, key) && typeof words[key] === "string" ? words[key] : null;
}
