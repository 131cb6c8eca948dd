// Commands: pairing, what can be said of a reading, what was said, undo, the keypad.

import { at, button, make, put, signed } from "/make.js";
import { check } from "/keypad.js";

async function post(where, what) {
  const answer = await fetch(where, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(what) }).catch(() => null);
  if (!answer) return { words: "the recording cannot be reached: nothing was done" };
  const said = await answer.json().catch(() => ({}));
  return { ok: answer.ok, status: answer.status, words: said.done?.join("; ") ?? said.refused ?? said["not-understood"] ?? "" };
}

async function say(page, words) {
  put("answer", "\u2026");
  const { ok, status, words: answer } = await post(`${page.api}/say`, { say: words });
  put("answer", ok ? `done: ${answer}` : answer);
  if (status === 403) askPaired();
  return ok;
}

export async function askPaired() {
  const answer = await fetch("/v1/paired").catch(() => null);
  const paired = answer?.ok && (await answer.json()).paired;
  document.body.toggleAttribute("data-paired", Boolean(paired));
}

export async function pair(page, code) {
  const { ok, words } = await post("/v1/pair", { code });
  put("answer", ok ? "paired: this browser may give commands" : words);
  await askPaired();
}

const spaced = (text) => text.split(/\s+/).filter(Boolean);

/** Joins the controls to what they say; gives the way to say something. */
export function commands(page) {
  at("pair").addEventListener("submit", (event) => { event.preventDefault(); pair(page, at("pair-code").value); });
  at("say").addEventListener("submit", async (event) => {
    event.preventDefault();
    const words = spaced(at("say-words").value);
    if (words.length && await say(page, words)) at("say-words").value = "";
  });
  for (const key of document.querySelectorAll("button[data-say]")) key.addEventListener("click", () => say(page, [key.dataset.say]));
  at("undo").addEventListener("click", () => say(page, ["undo", String(page.now.undo)]));
  for (const key of document.querySelectorAll("[data-close]")) key.addEventListener("click", () => key.closest("dialog").close());
  const ofReading = (form, words) => at(form).addEventListener("submit", (event) => {
    event.preventDefault();
    at("reading").close();
    say(page, words(at("reading").dataset.number));
  });
  ofReading("reading-point", (number) => ["point", number, at("reading-name").value]);
  ofReading("reading-note", (number) => ["note", number, ...spaced(at("reading-remark").value)]);
  keypad(page);
  return (words) => say(page, words);
}

/* ---- a reading and what may be said of it ---- */

export function openReading(page, number) {
  const row = page.rows[number - 1];
  at("reading").dataset.number = number;
  put("reading-head", `Reading ${number}`);
  put("reading-text", `${row.role} on ${row.point || "no point yet"}: ${signed(row.staff_shown)} ${row.unit}, ${row.state}`);
  at("reading-said").replaceChildren(...page.said.filter((said) => said.reading === number).map(saying));
  at("reading-name").value = row.point;
  at("reading-remark").value = "";
  const keys = [
    row.state === "struck" ? ["Restore", ["restore", number]] : ["Strike out", ["strike", number]],
    ["A repeat", ["repeat", number]], ["Backsight", ["role", number, "back"]], ["Foresight", ["role", number, "fore"]],
    ["Intermediate", ["role", number, "inter"]], ["Break its setup", ["break", number]], ["Take offer", ["take", number]], ["End run here", ["end", number]],
  ];
  at("reading-keys").replaceChildren(...keys.map(([text, words]) => button(text, () => {
    at("reading").close();
    say(page, words.map(String));
  })));
  at("reading").showModal();
}

/* ---- what was said ---- */

let shown = "";

function saying(said) {
  return make("li", said.taken_back ? { "data-taken-back": "" } : {},
    make("span", { class: "what" }, signed(said.text)), make("span", { class: "small quiet" }, `${said.time} UTC, ${said.by}${said.taken_back ? ", taken back" : ""}`));
}

export function drawSaid(page) {
  at("undo").disabled = page.now.undo === null;
  put("undo", page.now.undo === null ? "Undo" : `Undo event ${page.now.undo}`);
  const text = JSON.stringify(page.said);
  if (text === shown) return;
  shown = text;
  at("said-none").hidden = page.said.length > 0;
  at("said-list").replaceChildren(...page.said.toReversed().map((said) => {
    const item = saying(said);
    if (said.undoable) item.append(button("Undo", () => say(page, ["undo", String(said.event)]), { class: "paired", "aria-label": `Undo: ${said.text}` }));
    return item;
  }));
}

/* ---- the keypad ---- */

const FIELDS = { one: [["staff", "Staff reading"], ["sight", "Sight, if known"]], three: [["upper", "Upper wire"], ["middle", "Middle wire"], ["lower", "Lower wire"]] };

function keypad(page) {
  const pad = { how: "one", field: null, words: null };

  function open() {
    pad.how = document.querySelector("input[name=how]:checked").value;
    at("keypad-fields").replaceChildren(...FIELDS[pad.how].map(([name, text]) => {
      const input = make("input", { "data-field": name, inputmode: "decimal", autocomplete: "off" });
      input.addEventListener("focus", () => { pad.field = input; });
      input.addEventListener("input", typed);
      return make("label", {}, `${text}, ${page.unit}`, input);
    }));
    typed();
    if (!at("keypad").open) at("keypad").showModal();
    at("keypad-fields").querySelector("input").focus();
  }

  function typed() {
    const fields = Object.fromEntries([...at("keypad-fields").querySelectorAll("input")].map((input) => [input.dataset.field, input.value.trim()]));
    const { words, wrong, text } = check(pad.how, fields, page.unit, page.staffLength);
    pad.words = words;
    at("keypad-book").disabled = !words;
    at("keypad-check").toggleAttribute("data-wrong", Boolean(wrong));
    put("keypad-check", wrong ? `\u25b2 ${wrong}` : text ? `${text}, keyed in` : "");
  }

  at("key-in").addEventListener("click", open);
  for (const how of document.querySelectorAll("input[name=how]")) how.addEventListener("change", open);
  for (const key of ["1", "2", "3", "4", "5", "6", "7", "8", "9", "\u2212", "0", ".", "\u232b", "next"]) {
    at("keypad-keys").append(button(key, () => {
      const inputs = [...at("keypad-fields").querySelectorAll("input")];
      const field = pad.field?.isConnected ? pad.field : inputs[0];
      if (key === "next") inputs[(inputs.indexOf(field) + 1) % inputs.length].focus();
      else {
        field.value = key === "\u232b" ? field.value.slice(0, -1) : field.value + key;
        typed();
      }
    }, { "aria-label": { "\u2212": "minus", "\u232b": "take back" }[key] ?? key }));
  }
  at("keypad-book").addEventListener("click", async () => {
    const role = at("keypad-role").value;
    if (!pad.words || !await say(page, [...pad.words, ...(role ? [role] : [])])) {
      put("keypad-check", at("answer").textContent);
      return;
    }
    at("keypad").close();
  });
}
