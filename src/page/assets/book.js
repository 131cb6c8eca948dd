// The field book, growing; struck lines stay and are struck.

import { at, button, make, signed } from "/make.js";
import { openReading } from "/commands.js";

const FRESH_MS = 2_000; // how long a new line is marked, once

/** Draws one reading's line anew. */
export function takeRow(page, row, fresh) {
  const index = row.number - 1;
  const before = page.rows[index - 1];
  const value = signed(row.staff_shown);
  const state = { struck: "struck", broken: "setup broken", extra: "", counted: "" }[row.state];
  const remarks = [state, ...row.remarks, ...row.notes].filter(Boolean).join(", ");
  const open = button("\u2026", () => openReading(page, row.number), { "aria-label": `commands for reading ${row.number}` });
  const line = make("tr", { "data-state": row.state, "data-number": row.number },
    make("td", { class: "n" }, String(row.number)), make("td", {}, `${row.run}.${row.setup}`), make("td", { class: "point", title: row.point }, row.point),
    ...["back", "intermediate", "fore"].map((of) => make("td", { class: "n" }, row.role === of ? value : "")),
    make("td", { class: "n" }, signed(row.instrument ?? "")), make("td", { class: "n" }, signed(row.elevation ?? "")),
    make("td", { class: "n" }, row.sight ?? ""), make("td", { class: "remarks" }, remarks), make("td", { class: "paired" }, open));
  if (!before || before.setup !== row.setup || before.run !== row.run) line.dataset.first = "";
  const scroll = at("book-scroll");
  const atEnd = scroll.scrollHeight - scroll.scrollTop - scroll.clientHeight < 40;
  const body = at("rows");
  if (body.rows[index]) body.rows[index].replaceWith(line); else body.append(line);
  if (fresh) {
    line.classList.add("fresh");
    setTimeout(() => line.classList.remove("fresh"), FRESH_MS);
  }
  if (atEnd) scroll.scrollTop = scroll.scrollHeight;
}

/** What stands around the lines. */
export function drawBook(page) {
  const body = at("rows");
  while (body.rows.length > page.rows.length) body.deleteRow(-1);
  at("book-none").hidden = page.rows.length > 0;
  at("book-scroll").hidden = page.rows.length === 0;
  for (const unit of document.querySelectorAll("th .unit")) unit.textContent = page.unit;
}
