// The closed lists of words on the wire. A word that is not known counts as the worst one.

export const QUALITY = ["good", "uncertain", "bad", "stale"];
export const DECISION = ["inside", "undecided", "outside", "none"];
export const HEAD_STATE = ["online", "degraded", "offline"];
export const SERVICE_STATE = ["online", "offline"];
export const RUNOUT_STATE = ["turning", "done", "refused"];
export const ALERT_LEVEL = ["note", "warning", "danger"];
export const PHASE = ["none", "intake", "work", "over"];
export const UNITS = ["deg", "mm", "mm/m", "[in_i]", "Cel", "s", "%", "1"];

/** Return a word of a list; for any other the worst one. */
export function word(found, known, worst) {
  return known.includes(found) ? found : worst;
}

export function isNumber(value) {
  return typeof value === "number" && Number.isFinite(value);
}

/** Whether a value may be the number of decimals to show. */
export function isPlaces(value) {
  return Number.isInteger(value) && value >= 0 && value <= 9;
}

/** A code as it stands, legible: for codes that have no words of their own. */
export function plain(code) {
  return String(code ?? "").replace(/[-_]/g, " ");
}
