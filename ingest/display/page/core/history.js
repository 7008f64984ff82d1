// What was done in the present job, as the service tells it: the tasks that can be done again.

export const MOST_TASKS = 400;
const OVER = ["done", "skipped"];

export class History {
  constructor() {
    this.job = null;
    this.last = new Map();
  }

  /** Take a message of evt/job; events may be told again, and in any order. */
  take({ job, number, kind, task, text }) {
    if (typeof job !== "string" || !Number.isInteger(number) || typeof task !== "string") return;
    if (job !== this.job) {
      this.job = job;
      this.last.clear();
    }
    if (![...OVER, "went-back"].includes(kind) || task === "" || number < (this.last.get(task)?.number ?? 0)) return;
    if (!this.last.has(task) && this.last.size >= MOST_TASKS) return;
    this.last.set(task, { task, number, kind, text: String(text ?? "") });
  }

  /** Tasks of a job that are done or left out, the newest first. */
  done(job) {
    if (job === null || job !== this.job) return [];
    return [...this.last.values()].filter((each) => OVER.includes(each.kind)).sort((a, b) => b.number - a.number);
  }
}
