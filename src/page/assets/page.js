// The page of one instrument: follows its changes and hands them to the parts. Every text that came from an instrument
// or a person is set as text, never as markup.

import { at, put, signed, verdict } from "/make.js";
import { Stream } from "/stream.js";
import { drawBeside } from "/beside.js";
import { drawBook, takeRow } from "/book.js";
import { askPaired, commands, drawSaid, pair } from "/commands.js";
import { drawAges, drawRun } from "/run.js";
import { hear, missed, operator, soundOn, stayAwake } from "/operator.js";
import { drawStand } from "/staff.js";
import { today } from "/today.js";

const base = /^\/instruments\/[^/]+/.exec(location.pathname)?.[0] ?? "";
const view = { "/operator": "operator", "/staff": "staff" }[location.pathname.slice(base.length)] ?? "chief";

/** What all parts look at. */
const page = {
  view, api: `/v1${base}`, event: null, job: null, now: null, rows: [], said: [], unit: "m", staffLength: null,
  beat: null, beatAt: 0, whole: false,
};

document.body.dataset.view = view;
for (const link of document.querySelectorAll("nav a")) {
  link.href = { chief: base || "/", operator: `${base}/operator`, staff: `${base}/staff` }[link.dataset.view];
  if (link.dataset.view === view) link.setAttribute("aria-current", "page");
}

function takeWhole(all) {
  const old = page.rows;
  Object.assign(page, { event: all.event, job: all.job, now: all.now, staffLength: all.staff_length, said: all.said });
  page.unit = all.job?.unit ?? "m";
  page.rows = all.readings;
  if (view === "chief") page.rows.forEach((row, index) => {
    if (JSON.stringify(row) !== JSON.stringify(old[index])) takeRow(page, row, false);
  });
  askPaired(page);
  draw();
}

function takeChanges(changes) {
  Object.assign(page, { event: changes.event, now: changes.now });
  if (changes.said) page.said = changes.said;
  for (const row of changes.rows) {
    if (!row) continue;
    page.rows[row.number - 1] = row;
    if (view === "chief") takeRow(page, row, true);
  }
  page.rows.length = changes.readings;
  draw();
}

const stream = new Stream(() => `${page.api}/changes${page.event === null ? "" : `?since=${page.event}`}`, {
  line(line) {
    // What comes before the whole state has passed already.
    if (!page.whole) return;
    if (line.type === "job") refetch();
    if (view === "operator") hear(line);
  },
  beat(beat) {
    page.beat = beat;
    page.beatAt = performance.now();
  },
  whole(all) {
    page.whole = true;
    takeWhole(all);
    // What came to hold while this page was away is heard now, unless it was heard before.
    if (view === "operator") missed(all.now.findings);
  },
  changes: takeChanges,
  reset() { page.event = null; },
  ended() {},
}, (live) => {
  if (!live) page.whole = false;
  if (!live && view === "operator" && page.now) hear({ type: "not-live", text: stream.ended ? "the recording has ended" : "not live" });
  draw();
}, () => view === "operator" && soundOn());

async function refetch() {
  const answer = await fetch(`${page.api}/state`).catch(() => null);
  if (answer?.ok) takeWhole(await answer.json());
}

function draw() {
  const now = page.now;
  const good = stream.live && now;
  document.body.dataset.is = good ? "live" : "not-live";
  at("simulated").hidden = !now?.simulated;
  at("live-sign").dataset.sign = good ? "live" : "stale";
  put("live-text", stream.words());
  if (!now) {
    put("reason", stream.live ? "" : "nothing has been heard from the recording yet");
    return;
  }
  const { run, setup } = now.status;
  put("where", run ? `run ${run}, setup ${setup}` : "");
  const [sign, word] = good ? verdict(now) : ["stale", stream.ended ? "ended" : "not live"];
  at("verdict").dataset.verdict = good ? now.verdict : "stale";
  at("verdict-sign").dataset.sign = sign;
  put("verdict-text", word);
  put("reason", signed(now.text));
  put("todo", signed(now.todo ?? ""));
  drawBeside(now);
  document.title = `${{ hold: "\u25a0 ", clear: "\u25cb ", stale: "\u25cc " }[sign] ?? ""}${word} – closerun`;
  if (view === "chief") {
    drawRun(page, (words) => say(words));
    drawBook(page);
    drawSaid(page);
    drawAges(page, stream.live);
  }
  if (view === "staff") drawStand(now);
}

const say = commands(page);
today(page);
operator(() => ({ now: page.now, live: stream.live }));
if (view !== "chief") {
  stayAwake();
  document.addEventListener("visibilitychange", () => { if (!document.hidden) stayAwake(); });
}
if (view === "chief") setInterval(() => drawAges(page, stream.live), 500);

const told = /^#pair=(\d{6})$/.exec(location.hash);
if (told) {
  history.replaceState(null, "", location.pathname);
  pair(page, told[1]);
}

fetch("/v1/overview").then((answer) => answer.json()).then(({ instruments }) => {
  const own = instruments.find((one) => base === "" || base.endsWith(`/${one.instrument}`));
  put("name", own?.name ?? "");
  document.body.toggleAttribute("data-several", instruments.length > 1);
}).catch(() => {});
