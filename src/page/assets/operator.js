// The operator's ear: the controls of the sound, and what the phone needs for it.

import { at, put } from "/make.js";
import { Voice, spoken } from "/sound.js";

const voice = new Voice((text, on) => { at("ear-said").textContent = on ? text : ""; });

export const soundOn = () => voice.on;
export const hear = (line) => voice.hear(line);

/** Findings that may have been told while nobody listened. */
export function missed(findings) {
  for (const finding of findings) {
    if (finding.priority === "hold" && !finding.acknowledged) voice.missed(finding);
  }
}

/** Joins the controls; `stands` gives how things stand. */
export function operator(stands) {
  at("ear-on").addEventListener("click", async () => {
    const on = await voice.turnOn().catch(() => false);
    put("ear-text", on ? "Sound is on. Keep this page open; the phone may be in a pocket." : "This browser gives no sound: the machine that records still does.");
    at("ear-on").hidden = on;
    at("ear-try").hidden = !on;
    stayAwake();
  });
  at("ear-try").addEventListener("click", () => {
    const { now, live } = stands();
    if (!now) return;
    const kind = { hold: "hold", "clear-to-move": "clear" }[now.verdict] ?? "warn";
    voice.sound(kind, live ? spoken(now.text, now.todo) : "not live");
  });
}

/** Asks the browser to leave the screen on; it may only do so for a page of this machine, or over TLS. */
export async function stayAwake() {
  const awake = await navigator.wakeLock?.request("screen").catch(() => null);
  put("ear-awake", awake ? "" : "The screen may sleep, and the sound with it: set the phone to stay awake.");
}
