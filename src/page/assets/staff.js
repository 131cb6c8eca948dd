// The staff holder: where to stand next, one figure and a small drawing.

import { at, drawn, put, signed } from "/make.js";

export function drawStand(now) {
  const { staff, status, readings } = now;
  put("stand-count", `${readings} ${readings === 1 ? "reading" : "readings"} so far${status.setup ? `, setup ${status.setup}` : ""}`);
  put("stand-role", role(now));
  put("stand-figure", staff ? `${signed(staff.best)} ${staff.unit}` : "–");
  put("stand-range", !staff ? "" : staff.range ? `${staff.range[0]} to ${staff.range[1]} ${staff.unit} keeps the balance` : staff.best.startsWith("-") ? "a minus means shorter" : "");
  at("stand-drawing").replaceChildren(...(staff?.range ? [drawing(staff)] : []));
}

function role({ staff, readings }) {
  if (!staff) return readings ? "no figure yet: sight lengths or limits are not known" : "the first reading has not come";
  return staff.range ? `${staff.role} staff, from the instrument` : "next setup: foresight longer than backsight by";
}

/** The instrument, the ground, the stretch that keeps the balance, and the staff in the middle of it. */
function drawing({ best, range, unit }) {
  const [here, from, to] = [best, ...range].map(Number);
  const x = (length) => 36 + 288 * length / (Math.max(to, here) * 1.08);
  const shape = (tag, kind, attributes, ...children) => drawn(tag, { class: kind, ...attributes }, ...children);
  const graduations = Array.from({ length: 9 }, (_, step) => `M${x(here) + (step % 2 ? -5 : 0)} ${22 + step * 9}h5v9h-5z`).join("");
  return drawn("svg", { viewBox: "0 0 360 150", role: "img", "aria-label": `instrument on the left, staff at ${best} ${unit}` },
    shape("rect", "span", { x: x(from), y: 94, width: Math.max(6, x(to) - x(from)), height: 14 }),
    shape("path", "line", { d: "M8 108H352" }),
    shape("path", "sight", { d: `M46 46H${x(here) - 6}` }),
    shape("path", "line", { d: "M36 54L20 108M36 54L52 108M36 54V108" }),
    shape("path", "solid", { d: "M26 40h20v12h-20zM46 43h5v6h-5z" }),
    shape("rect", "staff", { x: x(here) - 6, y: 18, width: 12, height: 90 }),
    shape("path", "solid", { d: graduations }),
    shape("path", "line thin", { d: `M36 118V130M${x(here)} 118V130M36 124H${x(here)}` }),
    shape("text", "letters", { x: (36 + x(here)) / 2, y: 144, "text-anchor": "middle" }, `${best} ${unit}`));
}
