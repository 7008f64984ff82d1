// From bytes to a message that may be shown: checked, bounded, and free of what is no text.
// Nothing here raises: what cannot be read is a fault in words.

export const MOST_BYTES = 2048;
export const MOST_META_BYTES = 131072;
export const MOST_TEXT = 1000;
export const MOST_KEYS = 64;

const LEVEL = /^[a-z0-9_-]{1,32}$/;
const decoder = new TextDecoder("utf-8", { fatal: true });

/** What changes how text runs or hides in it: control signs, marks of direction, joiners. */
const UNSEEN = /[\u0000-\u0009\u000b-\u001f\u007f-\u009f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]/g;

/** Take what cannot be seen out of a text, and what is too long off its end. */
export function cleaned(text) {
  const seen = text.replace(UNSEEN, " ");
  return seen.length > MOST_TEXT ? `${seen.slice(0, MOST_TEXT)}\u2026` : seen;
}

/** Take a topic apart below the bay; null where it is none of ours. */
export function pathOf(topic) {
  const levels = String(topic).split("/");
  if (levels.length < 5 || levels.length > 8) return null;
  if (levels[0] !== "levelhead" || levels[1] !== "v1") return null;
  if (!levels.slice(2).every((level) => LEVEL.test(level))) return null;
  return { bay: levels[2], path: levels.slice(3) };
}

/**
 * Read a payload.
 * @param {Uint8Array|string} payload
 * @param {boolean} nests whether the topic is a description, which may nest
 * @returns {{body: object, fault: string}} fault: "", "too-large", "not-text" or "not-json"
 */
export function readBody(payload, nests) {
  if (payload.length > (nests ? MOST_META_BYTES : MOST_BYTES)) return faulty("too-large");
  let found;
  try {
    const text = typeof payload === "string" ? payload : decoder.decode(payload);
    found = JSON.parse(text);
  } catch (error) {
    return faulty(error instanceof SyntaxError ? "not-json" : "not-text");
  }
  if (found === null || typeof found !== "object" || Array.isArray(found)) return faulty("not-json");
  return { body: nests ? nested(found, 0) : flat(found), fault: "" };
}

function faulty(fault) {
  return { body: {}, fault };
}

/** Keep plain values alone, in an object without a prototype that a key could reach. */
function flat(found) {
  const body = Object.create(null);
  for (const [key, value] of Object.entries(found).slice(0, MOST_KEYS)) {
    if (typeof value === "string") body[key] = cleaned(value);
    else if (value === null || typeof value === "boolean" || Number.isFinite(value)) body[key] = value;
  }
  return body;
}

function nested(value, depth) {
  if (typeof value === "string") return cleaned(value);
  if (value === null || typeof value !== "object") return value;
  if (depth >= 4) return null;
  if (Array.isArray(value)) return value.slice(0, 512).map((each) => nested(each, depth + 1));
  const body = Object.create(null);
  for (const [key, each] of Object.entries(value).slice(0, 512)) body[key] = nested(each, depth + 1);
  return body;
}
