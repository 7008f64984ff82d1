// Two forms of the remote: a task that is accepted with a reason, and a task that is done again.

import { button, el } from "./dom.js";

/** What was refused as outside its limit, or as not measured yet, is accepted with a reason. */
export function acceptForm(ctx, send, leave) {
  const { tell } = ctx, reason = el("input", { id: "reason", maxlength: 200, autocomplete: "off" });
  const { code } = ctx.requests.all.findLast((each) => each.name === "job-done");
  return form(tell(code === "not-found" ? "form.not-found" : "form.job-done"), [field(tell("field.reason"), reason)], [
    button(tell("form.accept"), () => (reason.value.trim() ? send("job-done", { note: reason.value.trim() }) : reason.focus()), "usual"),
    button(tell("form.leave"), leave),
  ]);
}

/** Any task that is done may be done again; what stands on it then is, too. */
export function againForm(guide, ctx, send, leave) {
  const { tell } = ctx, tasks = ctx.history.done(guide.job);
  const which = el("select", { id: "which" }, ...tasks.map(({ task, text }) => el("option", { value: task, text: text ? ctx.say(text).text : task })));
  const reason = el("input", { id: "reason", maxlength: 200, autocomplete: "off" });
  if (tasks.length === 0) return form(tell("form.job-back"), [el("p", { text: tell("form.nothing-done") })], [button(tell("form.leave"), leave)]);
  return form(tell("form.job-back"), [field(tell("field.task"), which), field(tell("field.reason"), reason)], [
    button(tell("ask.job-back"), () => send("job-back", { task: which.value, reason: reason.value.trim() }), "usual"),
    button(tell("form.leave"), leave),
  ]);
}

function field(text, input) {
  return el("label", { for: input.id, text }, input);
}

function form(title, fields, buttons) {
  return el("div", { class: "form" }, el("h3", { text: title }), ...fields, el("div", { class: "row" }, ...buttons));
}
