// Brings the parts together: messages come in, the chosen view is drawn, requests go out.

import { guideOf, fieldsOf } from "./core/guide.js";
import { History } from "./core/history.js";
import { Known } from "./core/known.js";
import { readBody } from "./core/read.js";
import { Requests } from "./core/requests.js";
import { Ring } from "./core/ring.js";
import { parsed, checked } from "./core/settings.js";
import { sayer } from "./core/sentences.js";
import { sizes } from "./core/size.js";
import { teller } from "./core/tell.js";
import { toneOf } from "./core/tone.js";
import { TurnPoints } from "./core/turnpoints.js";
import { Watch } from "./core/watch.js";
import { Broker } from "./io/broker.js";
import { Sound } from "./io/sound.js";
import { axlesView } from "./views/axles.js";
import { frame, VIEWS } from "./views/frame.js";
import { headsView } from "./views/heads.js";
import { nowView } from "./views/now.js";
import { papersView } from "./views/papers.js";
import { remoteView } from "./views/remote.js";
import { setView, topicsOf } from "./views/set.js";
import { setupView } from "./views/setup.js";
import { turnView } from "./views/turn.js";

const TICK_MS = 250;
const AWAITED_MS = 2000; // a page that just opened is connecting, and no connection is lost yet
const STORED = "levelhead-display";
const NUMBER_EMS = 6.2; // the longest number: sign, three digits, point, unit
const MAKERS = { now: nowView, turn: turnView, set: setView, axles: axlesView, heads: headsView, papers: papersView, setup: setupView };
const LEAST_TARGET_PX = 44; // WCAG 2.5.5
const FAR_M = 2; // from there on nobody touches the screen, and lists go by pages
const WITH_REMOTE = ["now", "turn", "set"];

class Page {
  constructor(about, words, said) {
    this.about = about;
    this.words = words;
    this.said = said;
    this.settings = parsed(stored());
    this.known = new Known(about.bay);
    this.history = new History();
    this.turns = new TurnPoints();
    this.ring = new Ring();
    this.watch = new Watch();
    this.sound = new Sound();
    this.requests = new Requests(() => `d-${[...crypto.getRandomValues(new Uint8Array(6))].map((b) => b.toString(16).padStart(2, "0")).join("")}`);
    this.link = { refused: "" };
    this.view = VIEWS.includes(location.hash.slice(1)) ? location.hash.slice(1) : "now";
    this.picked = null;
    this.frames = 0;
    this.source = null;
    this.setLanguage();
  }

  start(source) {
    this.source = source;
    this.drawFrame = frame(this);
    this.layOut();
    source.open();
    setInterval(() => this.tick(), TICK_MS);
    addEventListener("resize", () => { this.setSizes(); this.redraw(); });
    addEventListener("hashchange", () => { const name = location.hash.slice(1); if (VIEWS.includes(name) && name !== this.view) this.show(name); });
    addEventListener("pointerdown", () => this.settings.tone && this.sound.wake());
    document.addEventListener("visibilitychange", () => this.redraw());
  }

  /** What a source calls. */
  hooks() {
    return {
      packet: () => this.watch.heard(performance.now()),
      connected: () => { this.link.refused = ""; this.known.restart(); this.redraw(); },
      closed: () => { this.watch.reset(); this.known.lost(); this.redraw(); },
      guest: () => { this.about.at_home = false; },
      refused: () => this.turnedAway(),
      message: (message) => this.take(message),
    };
  }

  /** The broker lets us in no further: ask who it is, and leave what somebody has begun to write. */
  turnedAway() {
    this.link.refused = this.source.login ? "wrong" : "nobody";
    this.source.login = null;
    this.known.lost();
    if (this.link.refused === "wrong" || document.getElementById("login-user") === null) this.show("setup");
    else this.redraw();
  }

  take(message) {
    const now = performance.now();
    if (message.topic === this.source.replyTo) this.requests.reply(readBody(message.payload, false).body);
    else {
      const entry = this.known.take(message, now);
      if (entry?.key === "evt/job" && !entry.fault) this.history.take(entry.body);
      if (entry !== null) { this.turns.take(entry); this.follow(entry, now); }
    }
    this.redraw();
  }

  /** Keep the last 30 s of what is being set. */
  follow(entry, now) {
    const topic = this.setTopic();
    if (topic === null || (entry.key !== topic && entry.key !== "job/live")) return;
    if (entry.key === topic && this.liveTopic() === topic) return;
    const value = this.valueOf(topic, now), plain = value.state === "no-data" || value.state === "last-known";
    this.ring.add(topic, now, plain ? null : value.body.value, value.body.U ?? null);
  }

  tick() {
    const now = performance.now(), { ping, lost, slept } = this.watch.tick(now);
    if (now > AWAITED_MS) this.known.link.awaited = false;
    if (slept) this.known.slept();
    if (lost) this.source.again();
    if (ping) this.source.ping();
    for (const each of this.requests.due(now)) this.source.ask(each.name, each.wire);
    const topic = this.setTopic();
    if (topic !== null && this.valueOf(topic, now).state === "no-data") this.ring.add(topic, now, null, null);
    this.redraw();
  }

  redraw() {
    if (this.frames === 0) this.frames = requestAnimationFrame(() => this.draw());
  }

  draw() {
    this.frames = 0;
    const now = performance.now(), topic = this.setTopic();
    this.drawFrame();
    this.part.draw(now);
    this.remote?.draw(now);
    const value = this.settings.tone && topic !== null ? this.valueOf(topic, now) : null;
    this.sound.play(value === null ? null : toneOf(value), now);
  }

  layOut() {
    this.setSizes();
    this.part?.close?.();
    this.part = MAKERS[this.view](this);
    document.getElementById("view").replaceChildren(this.part.element);
    this.remote = WITH_REMOTE.includes(this.view) ? remoteView(this) : null;
    document.getElementById("remote").replaceChildren(...(this.remote ? [this.remote.element] : []));
    this.redraw();
  }

  show(name) {
    this.view = name;
    history.replaceState(null, "", `#${name}`);
    this.layOut();
    document.getElementById("view").focus({ preventScroll: true });
  }

  /** Settings as somebody changed them; kept for the next time. */
  change(some) {
    this.settings = checked({ ...this.settings, ...some });
    try { localStorage.setItem(STORED, JSON.stringify(this.settings)); } catch { /* no store: for this time only */ }
    this.setLanguage();
    if (this.settings.tone) this.sound.wake();
    this.layOut();
  }

  setLanguage() {
    this.tell = teller(this.words[this.settings.lang], this.words.en);
    this.say = sayer(this.said[this.settings.lang] ?? null, this.tell, this.settings.mark === "comma" ? "," : ".");
    document.documentElement.lang = this.settings.lang;
    document.documentElement.dataset.theme = this.settings.theme;
  }

  setSizes() {
    document.documentElement.toggleAttribute("data-far", this.isFar());
    const found = this.reach().sizes, { style } = document.documentElement;
    style.setProperty("--number", `${found.number_px.toFixed(1)}px`);
    style.setProperty("--text", `${found.text_px.toFixed(1)}px`);
    const mm = this.settings.px_per_mm ?? 96 / 25.4; // 25 mm for gloves, as far as it is known
    style.setProperty("--target", `${Math.max(LEAST_TARGET_PX, Math.min(25 * mm, 120)).toFixed(0)}px`);
    style.setProperty("--gap", `${Math.min(5 * mm, 24).toFixed(0)}px`);
  }

  /** How far this screen can be read. */
  reach() {
    const found = sizes(this.settings, { ratio: digitRatio(), width_px: document.documentElement.clientWidth - 32, number_ems: NUMBER_EMS });
    return { sizes: found, readable_m: found.readable_m, wanted: found.readable_m >= this.settings.distance_m - 0.05 };
  }

  isFar() {
    return this.settings.distance_m >= FAR_M;
  }

  style() {
    return this.settings;
  }

  guide() {
    return guideOf(this.known);
  }

  mayAsk() {
    return this.known.link.connected && (this.about.at_home || this.source.login !== null);
  }

  logIn(login) {
    this.link.refused = "";
    this.source.as(login);
    this.layOut();
  }

  setTopics() {
    return topicsOf(this.guide(), this.known);
  }

  liveTopic() {
    const entry = this.known.get("job/live");
    return entry && !entry.fault && typeof entry.body.topic === "string" && this.setTopics().includes(entry.body.topic) ? entry.body.topic : null;
  }

  pick(topic) {
    this.picked = topic;
    return topic;
  }

  setTopic() {
    const topics = this.setTopics();
    if (topics.includes(this.picked)) return this.picked;
    return this.liveTopic() ?? topics[0] ?? null;
  }

  /** The value that is being turned where it is told live, else the result. */
  valueOf(topic, now) {
    if (topic === null) return { state: "no-data", why: this.known.outage() || "not-heard", body: {}, dec: "none" };
    if (this.liveTopic() === topic) {
      const live = this.known.value("job/live", now);
      if (live.state === "live" || this.known.get(topic) === null) return live;
    }
    return this.known.value(topic, now);
  }

  ask(name, fields) {
    const { by } = this.settings;
    const request = this.requests.begin(name, fields, { replyTo: this.source.replyTo, by }, performance.now());
    if (!this.source.ask(name, request.wire)) this.requests.unsent(request.id);
    this.redraw();
  }

  askJob(name, filled) {
    this.ask(name, fieldsOf(name, this.guide(), filled));
  }
}

function stored() {
  try { return localStorage.getItem(STORED); } catch { return null; }
}

/** Height of a digit by its font's size. */
let ratio = null;
function digitRatio() {
  if (ratio === null) {
    const context = document.createElement("canvas").getContext("2d");
    context.font = "700 200px system-ui, 'DejaVu Sans', sans-serif";
    ratio = context.measureText("0").actualBoundingBoxAscent / 200 || 0.72;
  }
  return ratio;
}

async function fetched(path) {
  return (await fetch(path)).json();
}

const [about, en, de, deSaid] = await Promise.all(["/about.json", "/words/en.json", "/words/de.json", "/said/de.json"].map(fetched));
const page = new Page(about, { en, de }, { de: deSaid });
page.start(new Broker(about.bay, page.hooks(), about.at_home));
