// Small things that every part of the page makes: elements, text, times.

export const at = (id) => document.getElementById(id);

/** Sets a text if it is another one, so that a screen reader is told of changes alone. */
export const put = (id, text) => { if (at(id).textContent !== text) at(id).textContent = text; };

export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

export function drawn(tag, attributes = {}, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

export function button(text, act, attributes = {}) {
  const made = make("button", { type: "button", ...attributes }, text);
  made.addEventListener("click", act);
  return made;
}

/** A sign beside its word: a shape, so that no colour is needed to tell it. */
export const sign = (kind) => make("span", { class: "sign", "data-sign": kind, "aria-hidden": "true" });

/** A true minus before a number. */
export const signed = (text) => text.replace(/(^|[\s(\u00b1])-(?=\d)/g, "$1\u2212");

/** How long ago, in the fewest words. */
export function ago(seconds) {
  if (seconds < 3) return "now";
  if (seconds < 120) return `${seconds} s ago`;
  if (seconds < 7200) return `${Math.floor(seconds / 60)} min ago`;
  return `${Math.floor(seconds / 3600)} h ago`;
}

/** The verdict as it is shown: its sign and its words. */
export function verdict(now) {
  if (now.verdict === "hold") return ["hold", "HOLD"];
  if (now.verdict === "clear-to-move") return ["clear", "clear to move"];
  return ["", now.readings ? `${now.status.due ?? "shot"} due` : "ready"];
}
