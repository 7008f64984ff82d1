// The lines of a job: each result as it was found and as it is left.

/** What the present job has found and left; nothing of one before it. */
export function linesOf(known) {
  const { job } = known.body("job/state");
  if (known.outage() || !job) return [];
  return known.under("job").filter(({ path, fault, body }) => path[1].startsWith("line-") && !fault && body.job === job).map(({ body }) => body);
}

export function lineOf(known, topic) {
  return linesOf(known).find((line) => line.topic === topic) ?? {};
}

/** The result of a line as it was found, or as it is left, as a body that can be written. */
export function sideOf(line, side) {
  const at = (name) => line[`${side}${name}`];
  return { unit: line.unit, qty: String(line.topic ?? "").split("/").at(-1), value: line[side], U: at("_U"), k: at("_k"), dp: at("_dp"), dec: at("_dec") };
}
