// How the run stands: figures, findings, plots.

import { drawCauses } from "/causes.js";
import { ago, at, button, drawn, make, put, sign, signed } from "/make.js";

const PLOTS_MS = 1_000; // plots are drawn anew at most so often

/** Which plots are shown: of which run (none: the last), and of which event. */
const plots = { run: null, drawn: null, busy: false, size: 0 };
let findings = "";
let runs = "";

export function drawRun(page, say) {
  const { now } = page;
  const { status, closure } = now;
  put("f-balance", signed(status.balance ?? "–"));
  put("f-sum", signed(status.balance_sum ?? "–"));
  put("f-next", signed(status.next ?? "–"));
  put("f-distance", now.distance ?? "–");
  drawClosure(closure);
  drawFindings(now.findings, say);
  drawCauses(page, say);
  drawRuns(page);
  const of = `${plots.run ?? "last"} ${now.plots}`;
  if (of !== plots.drawn && !plots.busy) drawPlots(page);
}

function drawClosure(closure) {
  const share = closure?.share ?? null;
  const percent = share === null ? "" : ` (${Math.round(share)} %)`;
  put("f-closure", !closure ? "nothing has closed yet" : signed(closure.allowance ? `${closure.misclosure} of ${closure.allowance}${percent}` : closure.misclosure));
  put("f-closure-words", closure ? signed(closure.text) : "");
  const gauge = at("f-gauge");
  gauge.hidden = share === null;
  if (share === null) return;
  // Zero in the middle, the allowance at both ends; what is beyond stays at the edge.
  const way = closure.misclosure.startsWith("-") ? -1 : 1;
  gauge.firstElementChild.style.setProperty("--at", 50 + way * Math.min(share, 112) * 0.44 + "%");
  gauge.toggleAttribute("data-over", share > 100);
}

/** Ages go on between messages. */
export function drawAges(page, live) {
  if (!page.now) return;
  const since = (seconds) => (seconds === null || seconds === undefined ? null : Math.round(seconds + (performance.now() - page.beatAt) / 1000));
  const [heard, reading] = [since(page.beat?.heard_s), since(page.beat?.reading_s)];
  const last = page.rows.at(-1);
  put("f-reading", !last ? "none yet" : `no. ${last.number}, ${reading === null ? `at ${last.time} UTC` : ago(reading)}`);
  const open = page.now.link === "open";
  put("f-heard", [open ? "" : page.now.link_text, heard === null ? (open ? "open, nothing heard yet" : "") : `heard ${ago(heard)}`].filter(Boolean).join(", "));
  at("f-heard").toggleAttribute("data-stale", !open || !live);
}

function drawFindings(list, say) {
  const text = JSON.stringify(list);
  if (text === findings) return;
  findings = text;
  at("findings-list").replaceChildren(...list.map((finding) => drawFinding(finding, say)));
  at("findings-none").hidden = list.length > 0;
}

function drawFinding(finding, say) {
  const word = { hold: "HOLD", warn: "warn", note: "note" }[finding.priority];
  const said = make("div", { class: "said" },
    make("p", {}, make("span", { class: "word" }, sign(finding.priority), word), ` ${signed(finding.fact)}`),
    make("p", { class: "strong" }, signed(finding.todo)));
  const amounts = [["value", finding.value], ["limit", finding.limit], ["from", finding.basis]].filter(([, amount]) => amount);
  if (amounts.length) said.append(make("dl", { class: "amounts" }, ...amounts.map(([name, amount]) => make("div", {}, make("dt", {}, name), make("dd", {}, signed(amount))))));
  const item = make("li", { "data-priority": finding.priority }, said);
  if (finding.acknowledged) said.append(make("p", { class: "small" }, "seen"));
  else item.append(button("Seen", () => say(["ack", finding.key]), { class: "paired", "aria-label": `Seen: ${finding.fact}` }));
  return item;
}

/** A choice of run, where there are several. */
function drawRuns(page) {
  const list = page.now.runs;
  const text = JSON.stringify([list, plots.run]);
  if (text === runs) return;
  runs = text;
  const last = list.at(-1)?.number;
  at("runs").replaceChildren(...(list.length < 2 ? [] : list.map((run) => {
    const shown = run.number === (plots.run ?? last);
    return button(`run ${run.number} from ${run.start}${run.number === last ? "" : run.closure ? "" : ", open"}`, () => {
      plots.run = run.number === last ? null : run.number;
      drawRuns(page);
      if (!plots.busy) drawPlots(page);
    }, { "aria-pressed": String(shown), title: signed(run.closure ?? "") });
  })));
}

/** Draws the plots, and once more if they changed meanwhile. */
async function drawPlots(page) {
  plots.busy = true;
  plots.drawn = `${plots.run ?? "last"} ${page.now.plots}`;
  plots.size = at("plots").clientWidth;
  const run = plots.run === null ? "" : `&run=${plots.run}`;
  for (const figure of document.querySelectorAll("figure[data-plot]")) {
    const width = Math.max(280, Math.min(1600, Math.round(figure.querySelector(".plot").clientWidth)));
    const answer = await fetch(`${page.api}/plots/${figure.dataset.plot}.svg?width=${width}${run}`).catch(() => null);
    if (!answer || answer.status !== 200) continue;
    const drawing = imported(new DOMParser().parseFromString(await answer.text(), "image/svg+xml").documentElement);
    if (!drawing) continue;
    figure.querySelector(".plot").replaceChildren(drawing);
    figure.querySelector("figcaption").textContent = signed(drawing.querySelector("desc").textContent);
  }
  setTimeout(() => {
    plots.busy = false;
    if (`${plots.run ?? "last"} ${page.now.plots}` !== plots.drawn || at("plots").clientWidth !== plots.size) drawPlots(page);
  }, PLOTS_MS);
  // Drawn for the width they have: letters keep their size on every screen.
  resized.page = page;
}

const resized = { page: null };
addEventListener("resize", () => {
  if (resized.page && !plots.busy && at("plots").clientWidth !== plots.size) drawPlots(resized.page);
});

const SHAPES = new Set(["svg", "title", "desc", "path", "rect", "circle", "text"]);
const PARTS = new Set(["viewBox", "role", "class", "d", "x", "y", "cx", "cy", "r", "width", "height", "text-anchor", "fill-opacity", "stroke-width", "stroke-dasharray", "font-size", "fill", "stroke"]);

/** A drawing of ours, shape by shape; anything else is left out. */
function imported(from) {
  if (!SHAPES.has(from.localName)) return null;
  const to = drawn(from.localName);
  for (const { name, value } of from.attributes) if (PARTS.has(name)) to.setAttribute(name, value);
  if (from.localName === "svg") { to.removeAttribute("width"); to.removeAttribute("height"); }
  for (const child of from.childNodes) {
    if (child.nodeType === Node.TEXT_NODE) to.append(child.data);
    else if (child.nodeType === Node.ELEMENT_NODE) { const made = imported(child); if (made) to.append(made); }
  }
  return to;
}
