// What a result is called, from its topic below the bay.

const RESULT = /^(axle\/\d+\/(left|right|both)|vehicle)\/[a-z0-9_-]+$/;

export function isResult(topic) {
  return RESULT.test(topic);
}

/** A result's name from its topic below the bay. */
export function nameOf(topic, tell) {
  const path = String(topic).split("/");
  const quantity = tell(`quantity.${path.at(-1)}`);
  if (path[0] === "vehicle") return `${tell("place.vehicle")}, ${quantity}`;
  return `${tell("place.axle", { n: path[1] })}${path[2] === "both" ? "" : ` ${tell(`side.${path[2]}`)}`}, ${quantity}`;
}
