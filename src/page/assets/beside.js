// What goes on beside the run: a test of the level, a target, a transfer; its words are those of the terminal.

import { at, make, put, signed } from "/make.js";

/** Draws it, or hides it while readings are the run's. */
export function drawBeside(now) {
  const beside = now.beside;
  at("beside").hidden = !beside;
  if (!beside) return;
  put("beside-head", beside.under_way ? beside.task : `${beside.task} done`);
  put("beside-next", signed(beside.next ?? ""));
  const words = beside.words.join("\n");
  if (at("beside-words").dataset.words !== words) {
    at("beside-words").dataset.words = words;
    at("beside-words").replaceChildren(...beside.words.map((text) => make("li", {}, signed(text))));
  }
  at("beside-mark").hidden = !beside.takes_marks;
  at("beside-keys").hidden = !beside.under_way;
}
