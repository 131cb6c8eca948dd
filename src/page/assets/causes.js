// What could be behind a misclosure that is over its allowance: asked for when there is one, and again when it changes.

import { at, button, make, put, signed } from "/make.js";

const FEW = 3; // the likeliest; all of them stand in the report

let asked = "";

export async function drawCauses(page, say) {
  const over = page.now.findings.filter((finding) => finding.key.startsWith("misclosure@") && finding.priority === "hold");
  // What was said may have changed what explains it.
  const about = over.length ? JSON.stringify([over.map((finding) => [finding.key, finding.fact]), page.said.length]) : "";
  if (about === asked) return;
  asked = about;
  if (!about) {
    at("causes").hidden = true;
    return;
  }
  const answer = await fetch(`${page.api}/causes`).catch(() => null);
  if (about !== asked) return;
  const latest = answer?.ok ? (await answer.json()).misclosures.at(-1) : null;
  at("causes").hidden = !latest;
  if (!latest) return;
  at("causes-list").replaceChildren(...latest.causes.slice(0, FEW).map((cause) => drawCause(cause, say)));
  put("causes-noise", signed(latest.noise_words));
}

function drawCause(cause, say) {
  const said = make("div", { class: "said" },
    make("p", { class: "strong" }, signed(`${cause.number}  ${cause.what}`)),
    make("p", {}, signed([cause.likely_words, cause.closes_words, cause.places_words].filter(Boolean).join("; "))),
    ...cause.confirm.map((how) => make("p", { class: "small" }, signed(how))));
  // Where nothing tells the places apart, a person says which it was.
  const accepts = cause.accept.endsWith(" READING")
    ? cause.places.filter((place) => place.reading).map(({ reading }) => [`Accept for reading ${reading}`, cause.accept.replace("READING", reading)])
    : [["Accept", cause.accept]];
  return make("li", {}, said, ...accepts.map(([text, words]) => button(text, () => say(words.split(" ")), { class: "paired", "aria-label": `${text}: ${cause.what}` })));
}
