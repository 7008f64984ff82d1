// Where the job stands, for the page: the step, and which requests make sense now.

const OFFERED = [
  "job-open", "job-check", "job-begin", "job-tape", "sweep-begin", "sweep-end", "job-adjust", "job-done",
  "job-skip", "job-back", "job-replan", "job-close",
];
export const WITH_REASON = ["job-skip", "job-back", "job-replan"];

/** Split what is joined by a plus sign. */
export function parts(text, by = "+") {
  return String(text ?? "").split(by).map((each) => each.trim()).filter((each) => each !== "" && each !== "\u2026");
}

/** A text without the advice that it repeats, cut short: that has a place of its own. */
function beside(text, advice) {
  const at = advice.length > 0 ? text.indexOf(advice[0].slice(0, 24)) : -1;
  return at < 0 ? text : text.slice(0, at).trim();
}

/** Lines joined by semicolons, without the last where that was cut short. */
export function whole(text) {
  const said = String(text ?? "");
  return said.endsWith("\u2026") && said.includes("; ") ? `${said.slice(0, said.lastIndexOf("; "))}.` : said;
}

/**
 * Return what the page shows of the job; `asks` holds known requests alone, the usual one first.
 * Empty where nothing can be believed.
 */
export function guideOf(known) {
  const out = known.outage(), read = (leaf) => {
    const entry = known.get(`job/${leaf}`);
    return entry && !entry.fault ? entry.body : {};
  };
  const state = read("state"), step = read("step"), told = read("guidance");
  const advice = lines(read("advice").text);
  const same = out === "" && (told.task ?? "") === (step.task ?? "");
  return {
    out, state, step, told,
    job: state.job ?? null,
    task: typeof told.task === "string" ? told.task : "",
    caution: lines(read("caution").text),
    advice,
    text: beside(String(told.text ?? ""), advice),
    lacks: parts(told.lacks, ";"),
    waits: parts(told.waits, ";"), // what a sweep would be refused for now
    axle: Number(parts(step.axles)[0]) || null,
    asks: same ? asked(told) : [],
  };
}

/** Without the question for an item once none is left: then the work can be begun. */
function asked({ asks, item }) {
  const offered = parts(asks).filter((each) => OFFERED.includes(each));
  return !item && offered.includes("job-begin") ? offered.filter((each) => each !== "job-check") : offered;
}

function lines(text) {
  return String(text ?? "").split("\n").filter((line) => line !== "");
}

/** The fields of a request about the present job; each names the task that it means. */
export function fieldsOf(name, guide, filled = {}) {
  const job = guide.job === null ? {} : { job: guide.job };
  if (name === "job-open") return filled;
  if (name.startsWith("sweep-")) return { axle: guide.axle, ...filled };
  if (["job-done", "job-adjust", "job-skip", "job-back"].includes(name)) return { ...job, task: guide.task, ...filled };
  return { ...job, ...filled };
}
