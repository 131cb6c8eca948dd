// The page: follows the stream of changes, draws the verdict, the run and the book, and passes commands on.
// Every text that came from an instrument or a person is set as text, never as markup.

import { Voice, spoken } from "/sound.js";
import { check } from "/keypad.js";

const PATIENCE_MS = 6_000; // three beats of the stream: then what is shown is no longer live
const AGAIN_MS = 1_000; // between tries to come back
const PLOTS_MS = 1_000; // plots are drawn anew at most so often
const FRESH_MS = 2_000;

const at = (id) => document.getElementById(id);
const view = { "/operator": "operator", "/staff": "staff" }[location.pathname] ?? "chief";
const state = { event: null, job: null, now: null, rows: [], drawn: null, unit: "m", staffLength: null };
const live = { stream: null, heardAt: -Infinity, since: null, again: null, beat: null, beatAt: 0, ended: false };
const voice = new Voice((kind, text, on) => { at("ear-said").textContent = on ? text : ""; });

document.body.dataset.view = view;
for (const link of document.querySelectorAll("nav a")) {
  if (link.dataset.view === view) link.setAttribute("aria-current", "page");
}

/* ---- small tools ---- */

const make = (tag, attributes = {}, ...children) => {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
};
const put = (id, text) => { if (at(id).textContent !== text) at(id).textContent = text; };
const signed = (text) => text.replace(/(^|[\s(])-(?=\d)/g, "$1\u2212");
const clock = () => new Date().toLocaleTimeString();

/* ---- the stream ---- */

function open() {
  clearTimeout(live.again);
  live.stream?.close();
  const since = state.event === null ? "" : `?since=${state.event}`;
  const stream = live.stream = new EventSource(`/v1/changes${since}`);
  const on = (name, take) => stream.addEventListener(name, (message) => {
    if (live.stream !== stream) return;
    heard();
    take(JSON.parse(message.data), message);
  });
  let whole = false;
  on("line", (line) => { if (whole) lineHeard(line); });
  on("kept", () => {});
  on("beat", (beat) => { live.beat = beat; live.beatAt = performance.now(); });
  on("reset", () => { state.event = null; });
  on("whole", (all) => {
    whole = true;
    takeWhole(all);
    // What came to hold while this page was away is heard now, unless it was heard before.
    if (view === "operator") for (const finding of all.now.findings) if (finding.priority === "hold" && !finding.acknowledged) voice.missed(finding);
  });
  on("changes", takeChanges);
  on("ended", () => { live.ended = true; });
  stream.onerror = () => {
    if (live.stream !== stream) return;
    // Always by hand, because a browser gives up for ever after some answers.
    stream.close();
    live.stream = null;
    live.heardAt = -Infinity;
    live.again = setTimeout(open, AGAIN_MS);
    draw();
  };
}

function heard() {
  live.heardAt = performance.now();
  live.since = clock();
  live.ended = false;
}

const isLive = () => performance.now() - live.heardAt < PATIENCE_MS;

// A hidden page lets go of its stream: a browser opens only six to one host. The operator's ear stays.
document.addEventListener("visibilitychange", () => {
  if (document.hidden) {
    if (view === "operator" && voice.on) return;
    live.stream?.close();
    live.stream = null;
    live.heardAt = -Infinity;
    clearTimeout(live.again);
  } else if (!live.stream) {
    open();
    stayAwake();
  }
  draw();
});

function takeWhole(all) {
  Object.assign(state, { event: all.event, job: all.job, now: all.now, staffLength: all.staff_length });
  state.unit = all.job?.unit ?? "m";
  const old = state.rows;
  state.rows = all.readings;
  state.rows.forEach((row, index) => drawRow(row, index, JSON.stringify(row) !== JSON.stringify(old[index]), false));
  cutRows();
  askPaired();
  draw();
}

function takeChanges(changes) {
  Object.assign(state, { event: changes.event, now: changes.now });
  for (const row of changes.rows) {
    if (!row) continue;
    state.rows[row.number - 1] = row;
    drawRow(row, row.number - 1, true, true);
  }
  state.rows.length = changes.readings;
  cutRows();
  draw();
}

function lineHeard(line) {
  if (line.type === "job") refetch();
  if (view === "operator") voice.hear(line);
}

async function refetch() {
  const answer = await fetch("/v1/state").catch(() => null);
  if (answer?.ok) takeWhole(await answer.json());
}

/* ---- drawing ---- */

const WORDS = { hold: ["\u25a0", "HOLD"], "clear-to-move": ["\u25cb", "clear to move"], "not-yet": ["", ""] };

function draw() {
  const now = state.now;
  const good = isLive() && now;
  document.body.dataset.is = good ? "live" : "not-live";
  at("simulated").hidden = !now?.simulated;
  put("live-sign", good ? "\u25cf" : "\u25cc");
  const why = live.ended ? "the recording has ended" : live.since ? `not live since ${live.since}, trying again` : "not live yet, trying";
  put("live-text", good ? "live" : why);
  if (!now) {
    put("reason", isLive() ? "" : "nothing has been heard from the recording yet");
    return;
  }
  const status = now.status;
  put("where", status.run ? `run ${status.run}, setup ${status.setup}` : "");
  at("verdict").dataset.verdict = good ? now.verdict : "stale";
  let [sign, word] = WORDS[now.verdict];
  if (!word) word = !now.readings ? "ready" : `${status.due ?? "shot"} due`;
  put("verdict-sign", good ? sign : "\u25cc");
  put("verdict-text", good ? word : live.ended ? "ended" : "not live");
  put("reason", signed(now.text));
  put("todo", signed(now.todo ?? ""));
  document.title = good ? `${sign} ${word} – closerun`.trim() : "\u25cc not live – closerun";
  if (view === "chief") drawRun(now, status);
  if (view === "staff") drawStand(now);
}

function drawRun(now, status) {
  put("f-balance", signed(status.balance ?? "–"));
  put("f-sum", signed(status.balance_sum ?? "–"));
  put("f-next", signed(status.next ?? "–"));
  put("f-closure", signed(status.closure ?? "nothing has closed yet"));
  put("f-distance", now.distance ?? "–");
  drawHeard();
  at("undo").disabled = now.undo === null;
  put("undo", now.undo === null ? "Undo" : `Undo event ${now.undo}`);
  const list = JSON.stringify(now.findings);
  if (list !== state.findings) {
    state.findings = list;
    at("findings-list").replaceChildren(...now.findings.map(drawFinding));
    at("findings-none").hidden = now.findings.length > 0;
  }
  if (now.plots !== state.drawn && !state.plotting) drawPlots();
}

function drawHeard() {
  const now = state.now;
  if (!now) return;
  const ago = live.beat?.heard_s;
  const seconds = ago === null || ago === undefined ? null : Math.round(ago + (performance.now() - live.beatAt) / 1000);
  const last = seconds === null ? "" : seconds < 3 ? "heard now" : `last heard ${seconds} s ago`;
  put("f-heard", now.link === "open" ? last || "open, nothing heard yet" : ["\u25cc", now.link_text + (last && ","), last].filter(Boolean).join(" "));
}

function drawFinding(finding) {
  const sign = { hold: "\u25a0", warn: "\u25b2", note: "–" }[finding.priority];
  const word = { hold: "HOLD", warn: "warn", note: "note" }[finding.priority];
  const said = make("div", { class: "said" },
    make("p", {}, make("span", { class: "word" }, `${sign} ${word}`), ` ${signed(finding.fact)}`),
    make("p", { class: "strong" }, signed(finding.todo)));
  if (finding.basis) said.append(make("p", { class: "small basis" }, `limit from: ${finding.basis}`));
  const item = make("li", { "data-priority": finding.priority }, said);
  if (finding.acknowledged) {
    said.append(make("p", { class: "small" }, "seen"));
  } else {
    const seen = make("button", { type: "button", class: "paired" }, "Seen");
    seen.addEventListener("click", () => say(["ack", finding.key]));
    item.append(seen);
  }
  return item;
}

/** Draws the plots, and once more if they changed meanwhile. */
async function drawPlots() {
  state.plotting = true;
  state.drawn = state.now.plots;
  for (const figure of document.querySelectorAll("figure[data-plot]")) {
    const width = Math.max(280, Math.min(1600, Math.round(figure.querySelector(".plot").clientWidth)));
    const answer = await fetch(`/v1/plots/${figure.dataset.plot}.svg?width=${width}`).catch(() => null);
    if (!answer || answer.status !== 200) continue;
    const drawing = imported(new DOMParser().parseFromString(await answer.text(), "image/svg+xml").documentElement);
    if (!drawing) continue;
    figure.querySelector(".plot").replaceChildren(drawing);
    figure.querySelector("figcaption").textContent = signed(drawing.querySelector("desc").textContent);
  }
  setTimeout(() => {
    state.plotting = false;
    if (state.now.plots !== state.drawn) drawPlots();
  }, PLOTS_MS);
}

const SHAPES = new Set(["svg", "title", "desc", "path", "rect", "circle", "text"]);
const PARTS = new Set(["viewBox", "role", "class", "d", "x", "y", "cx", "cy", "r", "width", "height", "text-anchor", "fill-opacity", "stroke-width", "stroke-dasharray", "font-size", "fill", "stroke"]);

/** A drawing of ours, shape by shape; anything else is left out. */
function imported(from) {
  if (!SHAPES.has(from.localName)) return null;
  const to = document.createElementNS("http://www.w3.org/2000/svg", from.localName);
  for (const { name, value } of from.attributes) if (PARTS.has(name)) to.setAttribute(name, value);
  if (from.localName === "svg") { to.removeAttribute("width"); to.removeAttribute("height"); }
  for (const child of from.childNodes) {
    if (child.nodeType === Node.TEXT_NODE) to.append(child.data);
    else if (child.nodeType === Node.ELEMENT_NODE) { const made = imported(child); if (made) to.append(made); }
  }
  return to;
}

/* ---- the book ---- */

function drawRow(row, index, changed, fresh) {
  if (!changed || view !== "chief") return;
  const body = at("rows");
  const before = state.rows[index - 1];
  const [value, role] = [signed(row.staff_shown), row.role];
  const say_state = { struck: "struck", broken: "setup broken", extra: "", counted: "" }[row.state];
  const remarks = [say_state, ...row.remarks, ...row.notes].filter(Boolean).join(", ");
  const open = make("button", { type: "button", "aria-label": `commands for reading ${row.number}` }, "…");
  open.addEventListener("click", () => openReading(row.number));
  const cells = [
    make("td", {}, String(row.number)), make("td", {}, `${row.run}.${row.setup}`), make("td", { class: "point", title: row.point }, row.point),
    ...["back", "intermediate", "fore"].map((of) => make("td", { class: "n" }, role === of ? value : "")),
    make("td", { class: "n" }, signed(row.instrument ?? "")), make("td", { class: "n" }, signed(row.elevation ?? "")),
    make("td", { class: "n" }, row.sight ?? ""), make("td", { class: "remarks" }, remarks), make("td", { class: "paired" }, open),
  ];
  const line = make("tr", { "data-state": row.state, "data-number": row.number }, ...cells);
  if (!before || before.setup !== row.setup || before.run !== row.run) line.dataset.first = "";
  const scroll = at("book-scroll");
  const atEnd = scroll.scrollHeight - scroll.scrollTop - scroll.clientHeight < 40;
  if (body.rows[index]) body.rows[index].replaceWith(line); else body.append(line);
  if (fresh) { line.classList.add("fresh"); setTimeout(() => line.classList.remove("fresh"), FRESH_MS); }
  if (atEnd) scroll.scrollTop = scroll.scrollHeight;
}

function cutRows() {
  const body = at("rows");
  while (body.rows.length > state.rows.length) body.deleteRow(-1);
  at("book-none").hidden = state.rows.length > 0;
  for (const unit of document.querySelectorAll("th .unit")) unit.textContent = state.unit;
}

/* ---- the staff holder ---- */

function drawStand(now) {
  const staff = now.staff;
  put("stand-count", `${now.readings} readings so far${now.status.setup ? `, setup ${now.status.setup}` : ""}`);
  if (!staff) {
    put("stand-role", now.readings ? "no figure yet: sight lengths or limits are not known" : "the first reading has not come");
    put("stand-figure", "–");
    put("stand-range", "");
    at("stand-drawing").replaceChildren();
    return;
  }
  put("stand-figure", `${signed(staff.best)} ${staff.unit}`);
  if (!staff.range) {
    put("stand-role", "next setup: foresight longer than backsight by");
    put("stand-range", staff.best.startsWith("-") ? "a minus means shorter" : "");
    at("stand-drawing").replaceChildren();
    return;
  }
  put("stand-role", `${staff.role} staff, from the instrument`);
  put("stand-range", `anywhere from ${staff.range[0]} to ${staff.range[1]} ${staff.unit} keeps the balance`);
  const [best, from, to] = [staff.best, ...staff.range].map(Number);
  const x = (length) => 30 + 310 * length / (Math.max(to, best) * 1.1);
  const svg = (tag, attributes, text) => {
    const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
    if (text) element.append(text);
    return element;
  };
  at("stand-drawing").replaceChildren(svg("svg", { viewBox: "0 0 360 120", role: "img", "aria-label": `instrument on the left, staff at ${staff.best} ${staff.unit}` }));
  at("stand-drawing").firstChild.append(
    svg("rect", { class: "span", x: x(from), y: 78, width: Math.max(4, x(to) - x(from)), height: 16 }),
    svg("path", { class: "line", d: "M8 94 H352 M30 54 L18 94 M30 54 L42 94 M30 54 V94" }),
    svg("circle", { class: "best", cx: 30, cy: 48, r: 9 }),
    svg("rect", { class: "best", x: x(best) - 4, y: 16, width: 8, height: 78 }),
    svg("text", { class: "letters", x: 4, y: 114 }, "instrument"),
    svg("text", { class: "letters", x: Math.max(150, Math.min(x(best), 310)), y: 114, "text-anchor": "middle" }, "stand here"));
}

/* ---- commands ---- */

async function post(where, what) {
  const answer = await fetch(where, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(what) }).catch(() => null);
  if (!answer) return { words: "the recording cannot be reached: nothing was done" };
  const said = await answer.json().catch(() => ({}));
  return { ok: answer.ok, status: answer.status, words: said.done?.join("; ") ?? said.refused ?? said["not-understood"] ?? "" };
}

async function say(words) {
  put("answer", "…");
  const { ok, status, words: answer } = await post("/v1/say", { say: words });
  put("answer", ok ? `done: ${answer}` : answer);
  if (status === 403) askPaired();
  return ok;
}

async function askPaired() {
  const answer = await fetch("/v1/paired").catch(() => null);
  const paired = answer?.ok && (await answer.json()).paired;
  document.body.toggleAttribute("data-paired", Boolean(paired));
}

async function pair(code) {
  const { ok, words } = await post("/v1/pair", { code });
  put("answer", ok ? "paired: this browser may give commands" : words);
  await askPaired();
}

at("pair").addEventListener("submit", (event) => { event.preventDefault(); pair(at("pair-code").value); });
at("say").addEventListener("submit", async (event) => {
  event.preventDefault();
  const words = at("say-words").value.split(/\s+/).filter(Boolean);
  if (words.length && await say(words)) at("say-words").value = "";
});
for (const button of document.querySelectorAll("button[data-say]")) {
  button.addEventListener("click", () => say([button.dataset.say]));
}
at("undo").addEventListener("click", () => say(["undo", String(state.now.undo)]));
for (const button of document.querySelectorAll("[data-close]")) {
  button.addEventListener("click", () => button.closest("dialog").close());
}

function openReading(number) {
  const row = state.rows[number - 1];
  at("reading").dataset.number = number;
  put("reading-head", `Reading ${number}`);
  put("reading-text", `${row.role} on ${row.point || "no point yet"}: ${signed(row.staff_shown)} ${row.unit}, ${row.state}`);
  at("reading-name").value = row.point;
  at("reading-remark").value = "";
  const keys = [
    row.state === "struck" ? ["Restore", ["restore", number]] : ["Strike out", ["strike", number]],
    ["A repeat", ["repeat", number]], ["Backsight", ["role", number, "back"]], ["Foresight", ["role", number, "fore"]],
    ["Intermediate", ["role", number, "inter"]], ["Break its setup", ["break", number]], ["Take offer", ["take", number]], ["End run here", ["end", number]],
  ];
  at("reading-keys").replaceChildren(...keys.map(([text, words]) => {
    const key = make("button", { type: "button" }, text);
    key.addEventListener("click", () => { at("reading").close(); say(words.map(String)); });
    return key;
  }));
  at("reading").showModal();
}
const fromReading = (form, words) => at(form).addEventListener("submit", (event) => {
  event.preventDefault();
  at("reading").close();
  say(words(at("reading").dataset.number));
});
fromReading("reading-point", (number) => ["point", number, at("reading-name").value]);
fromReading("reading-note", (number) => ["note", number, ...at("reading-remark").value.split(/\s+/).filter(Boolean)]);

/* ---- the keypad ---- */

const FIELDS = { one: [["staff", "Staff reading"], ["sight", "Sight, if known"]], three: [["upper", "Upper wire"], ["middle", "Middle wire"], ["lower", "Lower wire"]] };
const pad = { how: "one", field: null, words: null };

function openKeypad() {
  pad.how = document.querySelector("input[name=how]:checked").value;
  at("keypad-fields").replaceChildren(...FIELDS[pad.how].map(([name, text]) => {
    const input = make("input", { "data-field": name, inputmode: "decimal", autocomplete: "off" });
    input.addEventListener("focus", () => { pad.field = input; });
    input.addEventListener("input", typed);
    return make("label", {}, `${text}, ${state.unit}`, input);
  }));
  typed();
  if (!at("keypad").open) at("keypad").showModal();
  at("keypad-fields").querySelector("input").focus();
}

function typed() {
  const fields = Object.fromEntries([...at("keypad-fields").querySelectorAll("input")].map((input) => [input.dataset.field, input.value.trim()]));
  const { words, wrong, text } = check(pad.how, fields, state.unit, state.staffLength);
  pad.words = words;
  at("keypad-book").disabled = !words;
  at("keypad-check").toggleAttribute("data-wrong", Boolean(wrong));
  put("keypad-check", wrong ? `\u25b2 ${wrong}` : text ? `${text}, keyed in` : "");
}

at("key-in").addEventListener("click", openKeypad);
for (const how of document.querySelectorAll("input[name=how]")) how.addEventListener("change", openKeypad);
for (const key of ["1", "2", "3", "4", "5", "6", "7", "8", "9", "\u2212", "0", ".", "\u232b", "next"]) {
  const button = make("button", { type: "button", "aria-label": { "\u2212": "minus", "\u232b": "take back" }[key] ?? key }, key);
  button.addEventListener("click", () => {
    const inputs = [...at("keypad-fields").querySelectorAll("input")];
    const field = pad.field?.isConnected ? pad.field : inputs[0];
    if (key === "next") inputs[(inputs.indexOf(field) + 1) % inputs.length].focus();
    else { field.value = key === "\u232b" ? field.value.slice(0, -1) : field.value + key; typed(); }
  });
  at("keypad-keys").append(button);
}
at("keypad-book").addEventListener("click", async () => {
  const role = at("keypad-role").value;
  if (pad.words && await say(["key", ...pad.words, ...(role ? [role] : [])])) at("keypad").close();
  else put("keypad-check", at("answer").textContent);
});

/* ---- the operator's ear ---- */

at("ear-on").addEventListener("click", async () => {
  const on = await voice.turnOn().catch(() => false);
  put("ear-text", on ? "Sound is on. Keep this page open; the phone may be in a pocket." : "This browser gives no sound: the machine that records still does.");
  at("ear-on").hidden = on;
  at("ear-try").hidden = !on;
  stayAwake();
});
at("ear-try").addEventListener("click", () => {
  if (!state.now) return;
  const kind = { hold: "hold", "clear-to-move": "clear" }[state.now.verdict] ?? "warn";
  voice.sound(kind, isLive() ? spoken(state.now.text, state.now.todo) : "not live");
});

/** Asks the browser to leave the screen on; it may only do so for a page of this machine, or over TLS. */
async function stayAwake() {
  if (view === "chief") return;
  const awake = await navigator.wakeLock?.request("screen").catch(() => null);
  put("ear-awake", awake ? "" : "The screen may sleep, and the sound with it: set the phone to stay awake.");
}

/* ---- begin ---- */

const told = /^#pair=(\d{6})$/.exec(location.hash);
if (told) {
  history.replaceState(null, "", location.pathname);
  pair(told[1]);
}
setInterval(() => { const was = document.body.dataset.is === "live"; if (was !== Boolean(isLive() && state.now)) { draw(); if (was && view === "operator") voice.sound("warn", "not live"); } if (view === "chief") drawHeard(); }, 500);
open();
