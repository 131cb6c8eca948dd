// All instruments on one page: how each stands, and the way to its own.

import { ago, at, make, put, sign, signed, verdict } from "/make.js";
import { Stream } from "/stream.js";

const all = new Map();

const stream = new Stream(() => "/v1/overview/changes", {
  instrument(brief) {
    const card = all.get(brief.instrument) ?? added(brief);
    Object.assign(card, { brief, ended: false });
    draw(card);
  },
  beat(beat) {
    const card = all.get(beat.instrument);
    if (card) Object.assign(card, { beat, beatAt: performance.now(), ended: false });
  },
  ended({ instrument }) {
    const card = all.get(instrument);
    if (card) card.ended = true;
    // The stream goes on for as long as one of them does.
    stream.ended = [...all.values()].every((one) => one.ended);
  },
}, () => { head(); all.forEach(draw); });

function head() {
  document.body.dataset.is = stream.live ? "live" : "not-live";
  at("live-sign").dataset.sign = stream.live ? "live" : "stale";
  put("live-text", stream.words());
}

function added(brief) {
  const card = { element: make("li"), beat: null, beatAt: 0, ended: false };
  all.set(brief.instrument, card);
  at("instruments").append(card.element);
  return card;
}

const BEATS_MS = 5_000; // an instrument whose daemon gives no beat for so long is not live

const isLive = (card) => stream.live && !card.ended && performance.now() - card.beatAt < BEATS_MS;

function draw(card) {
  const { now, name, instrument } = card.brief;
  card.live = isLive(card);
  const [kind, word] = card.live ? verdict(now) : ["stale", card.ended ? "ended" : "not live"];
  const facts = [
    ["Misclosure", now.closure ? signed(now.closure.text) : "nothing has closed yet"],
    ["Sum of balance", signed(now.status.balance_sum ?? "–")],
    ["Instrument", now.link === "open" ? "" : now.link_text],
  ];
  const fact = ([title, text], index) => make("div", {}, make("dt", {}, title), make("dd", index === 2 ? { class: "heard" } : {}, text));
  const where = now.status.run ? `run ${now.status.run}, setup ${now.status.setup}${now.simulated ? ", SIMULATED" : ""}` : "";
  card.element.dataset.verdict = card.live ? now.verdict : "stale";
  card.element.replaceChildren(
    make("h2", {}, make("a", { href: `/instruments/${instrument}` }, name)),
    make("p", { class: "where" }, where),
    make("p", { class: "word" }, sign(kind), word),
    make("p", { class: "reason" }, signed(now.text)),
    make("dl", {}, ...facts.map(fact)));
  age(card);
}

function age(card) {
  const heard = card.beat?.heard_s;
  const text = heard === null || heard === undefined ? "" : `heard ${ago(Math.round(heard + (performance.now() - card.beatAt) / 1000))}`;
  const shown = [card.brief.now.link === "open" ? "" : card.brief.now.link_text, text].filter(Boolean).join(", ") || "nothing heard yet";
  const place = card.element.querySelector(".heard");
  if (place.textContent !== shown) place.textContent = shown;
}

setInterval(() => all.forEach((card) => { if (card.live !== isLive(card)) draw(card); else age(card); }), 500);
