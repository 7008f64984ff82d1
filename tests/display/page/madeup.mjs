// A bay in the middle of a job, made up: one head, results of every decision, and markup in every name.

export const EVIL = "<img src=x onerror=\"document.title='owned'\"><script>document.title='owned'</script>";
export const RESULT = { qty: "camber", value: -0.423, unit: "deg", U: 0.059, k: 2, dp: 3, lo: -0.5, hi: 0.5, rule: "guard-u", dec: "inside", q: "good", why: "", ttl: 0 };
/** Say all that a bay says in the middle of a job; `say` publishes, retained unless told otherwise. */
export async function sayBay(say) {
  await say("head/larch/status", { state: "online", axle: 1, side: "left", q: "good", why: "" });
  await say("head/rowan/status", { state: "offline", q: "bad", why: "link-lost" });
  await say("head/larch/link", { link: "serial", rate_hz: 50, lost: 0, batt_pct: 14, q: "good", why: "", ttl: 5 }, false);
  await say("cal/larch/latest", { id: "cal-1", issued: "2026-10-26", due: "2027-10-26", q: "good", why: "" });
  await say("axle/1/left/camber", RESULT);
  await say("axle/1/right/camber", { ...RESULT, value: 0.7, dec: "outside" });
  await say("axle/1/both/total-toe", { ...RESULT, qty: "total-toe", value: 0.48, dec: "undecided" });
  await say("axle/2/both/total-toe", { ...RESULT, qty: "total-toe", q: "splendid" });
  await say("job/state", { job: "w-118", phase: "work", order: "W-118", vehicle: EVIL, done: 5, of: 18 });
  await say("job/step", { job: "w-118", task: "s1-6", doing: "adjust", title: "adjust toe", axles: "1", results: "axle/1/both/total-toe", why: "" });
  await say("job/guidance", { job: "w-118", task: "s1-6", title: EVIL, text: "Turn the tie rod.", ready: true, lacks: "", asks: "job-done+job-skip" });
  await say("job/caution", { task: "s1-6", text: "Chock the wheels.\nHubs may be hot." });
  await say("job/advice", { task: "s1-6", text: "Tie rod: half a turn shorter." });
  await say("job/line-1", { job: "w-118", topic: "axle/1/both/total-toe", unit: "deg", found: 0.9, found_U: 0.03, found_k: 2, found_dp: 2, found_dec: "outside", lo: -0.5, hi: 0.5 });
  await say("svc/alert/clock", { level: "warning", text: EVIL });
  await say("svc/status", { state: "online", api: "1.7", boot: "b-1", q: "good", why: "" });
}
