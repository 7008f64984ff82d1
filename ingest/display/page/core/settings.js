// What a person chose for this screen. Whatever was stored is checked before it is used.

export const CHOICES = {
  lang: ["en", "de"],
  angle: ["deg", "min", "mm"],
  mark: ["point", "comma"],
  theme: ["auto", "light", "dark"],
  distance_m: [0.5, 1, 2, 3, 5, 8],
  tone: [false, true],
};

export const USUAL = {
  lang: "en", angle: "deg", mark: "point", theme: "auto", distance_m: 0.5, tone: false,
  diameter_mm: 500, px_per_mm: null, by: "",
};

/** Return settings with every value that cannot be replaced by the usual one. */
export function checked(found) {
  const from = found !== null && typeof found === "object" ? found : {};
  const kept = { ...USUAL };
  for (const [name, allowed] of Object.entries(CHOICES)) if (allowed.includes(from[name])) kept[name] = from[name];
  if (within(from.diameter_mm, 100, 2000)) kept.diameter_mm = from.diameter_mm;
  if (within(from.px_per_mm, 1, 40)) kept.px_per_mm = from.px_per_mm;
  if (typeof from.by === "string") kept.by = from.by.slice(0, 32);
  return kept;
}

function within(value, low, high) {
  return typeof value === "number" && value >= low && value <= high;
}

export function parsed(text) {
  try {
    return checked(JSON.parse(text));
  } catch {
    return checked(null);
  }
}
