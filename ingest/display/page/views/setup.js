// Settings of this screen; the size of characters from a bank card held to it, once.

import { CHOICES } from "../core/settings.js";
import { CARD_MM, NOMINAL_PX_PER_MM } from "../core/size.js";
import { button, el, write } from "./dom.js";

export function setupView(ctx) {
  const { tell } = ctx;
  const fields = Object.entries(CHOICES).map(([name, choices]) => choiceOf(name, choices, ctx));
  const by = line("by", ctx.settings.by, 32, (text) => ctx.change({ by: text }), ctx);
  const across = line("diameter_mm", String(ctx.settings.diameter_mm), 6, (text) => ctx.change({ diameter_mm: Number(text.replace(",", ".")) }), ctx);
  const size = cardOf(ctx), login = loginOf(ctx);
  const element = el("div", { class: "stack near" }, el("h2", { text: tell("nav.setup") }), login.element, el("div", { class: "form" }, by, ...fields, across), size.element);
  return { element, draw() { size.draw(); login.draw(); } };
}

function choiceOf(name, choices, ctx) {
  const { tell } = ctx, group = el("fieldset", {}, el("legend", { text: tell(`setup.${name}`) }));
  const row = el("div", { class: "row" });
  for (const choice of choices) {
    const text = typeof choice === "number" ? `${choice} m`.replace(".", ctx.settings.mark === "comma" ? "," : ".") : tell(`setup.${name}.${choice}`);
    const each = button(text, () => ctx.change({ [name]: choice }));
    each.setAttribute("aria-pressed", ctx.settings[name] === choice);
    row.append(each);
  }
  group.append(row);
  return group;
}

function line(name, value, most, act, ctx) {
  const input = el("input", { id: `setup-${name}`, maxlength: most, autocomplete: "off", value });
  input.addEventListener("change", () => act(input.value.trim()));
  return el("label", { for: input.id, text: ctx.tell(`setup.${name}`) }, input);
}

/** The card's picture grows and shrinks until it is as wide as the card. */
function cardOf(ctx) {
  const { tell } = ctx, card = el("div", { class: "card-size" }), told = el("p");
  let px = ctx.settings.px_per_mm ?? NOMINAL_PX_PER_MM;
  const grow = (times) => () => { px = Math.min(40, Math.max(1, px * times)); draw(); };
  const draw = () => {
    card.style.width = `${(CARD_MM * px).toFixed(1)}px`;
    card.style.height = `${(53.98 * px).toFixed(1)}px`;
    const { readable_m, wanted } = ctx.reach();
    const held = tell(ctx.settings.px_per_mm === null ? "setup.not-held" : "setup.held");
    const far = readable_m.toFixed(1).replace(".", ctx.settings.mark === "comma" ? "," : ".");
    write(told, `${held} ${tell(wanted ? "setup.reach" : "setup.too-narrow", { m: far })}`);
  };
  const element = el("div", { class: "stack" }, el("h3", { text: tell("setup.card") }), el("p", { text: tell("setup.card-how") }), card,
    el("div", { class: "row" }, button(tell("setup.smaller"), grow(0.97)), button(tell("setup.bit-smaller"), grow(0.997)), button(tell("setup.bit-larger"), grow(1.003)), button(tell("setup.larger"), grow(1.03)),
      button(tell("setup.take"), () => ctx.change({ px_per_mm: px }), "usual")), told);
  return { element, draw };
}

function loginOf(ctx) {
  const { tell } = ctx;
  if (ctx.about.at_home) return { element: el("p", { text: tell("who.at-home") }), draw() {} };
  if (ctx.source.login) return { element: el("div", { class: "row" }, el("p", { text: tell("who.user", { user: ctx.source.login.user }) }), button(tell("login.out"), () => ctx.logIn(null))), draw() {} };
  const user = el("input", { id: "login-user", autocomplete: "username", maxlength: 32, autocapitalize: "none" });
  const password = el("input", { id: "login-password", type: "password", autocomplete: "current-password", maxlength: 200 });
  const why = el("p", { role: "status" });
  const element = el("div", { class: "form" }, el("h3", { text: tell("login.title") }), why,
    el("label", { for: user.id, text: tell("login.user") }, user), el("label", { for: password.id, text: tell("login.password") }, password),
    el("div", { class: "row" }, button(tell("login.in"), () => {
      if (/^[a-z0-9_-]{1,32}$/.test(user.value)) ctx.logIn({ user: user.value, password: password.value });
      else user.focus();
    }, "usual")));
  return { element, draw: () => write(why, tell({ wrong: "login.refused", nobody: "login.needed" }[ctx.link.refused] ?? "login.why")) };
}
