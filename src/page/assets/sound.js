// What the operator hears: which of the lines are worth a sound, in which words, and how often.

const AGAIN_MS = 20_000; // the same finding is not sounded again sooner: it flickers, or somebody just undid something
const HOLD_PAUSE_MS = 60_000; // while a hold stands that was sounded, others wait so long and come together
const GATHER_MS = 250; // findings of one setup come together: one sound for all of them
const RANK = { note: 0, clear: 1, warn: 2, hold: 3 };
// Notes in hertz, from when and how long in seconds: two low ones, a middle one, a high short one.
const NOTES = { hold: [[220, 0, 0.18], [220, 0.26, 0.26]], warn: [[440, 0, 0.16]], clear: [[880, 0, 0.11]] };

/** A fact and what to do, as it is said aloud: no brackets, short numbers, whole words. */
export function spoken(fact, todo) {
  const say = (text) => text
    .replace(/\s*\([^)]*\)/g, "")
    .replace(/(\d+)\.(\d+)(?=\s*(?:m|ft|sft)\b)/g, (number) => String(Math.round(Number(number) * 10) / 10))
    .replace(/(\d)\s*mm\b/g, "$1 millimetres")
    .replace(/(\d)\s*m\b/g, "$1 metres")
    .replace(/(\d)\s*s?ft\b/g, "$1 feet")
    .replace(/[-\u2212](?=\d)/g, "minus ")
    .replace(/\s+/g, " ").trim();
  return todo ? `${say(fact)}. ${say(todo)}` : say(fact);
}

/** Chooses what is heard: one sound a cause, the most urgent of what came together. `now` gives milliseconds. */
export class Ear {
  constructor(now) {
    this.now = now;
    this.told = new Map();
    this.waiting = [];
    /** The cause of the last hold that was sounded and stands, and when. */
    this.held = null;
  }

  /** Takes a line in. */
  hear(line) {
    if (line.type === "finding" && line.priority !== "note") {
      const last = this.told.get(line.key);
      const same = last && RANK[last.priority] >= RANK[line.priority] && this.now() - last.at < AGAIN_MS;
      this.told.set(line.key, { priority: line.priority, at: this.now() });
      if (!same) this.waiting.push({ kind: line.priority, key: line.key, text: spoken(line.fact, line.todo) });
    } else if (line.type === "withdrawn") {
      // Its cause is gone: it need not be said any more, and what waited behind it may be.
      this.waiting = this.waiting.filter((item) => item.key !== line.key);
      if (this.held?.key === line.key) this.held = null;
    } else if (line.type === "verdict" && line.verdict === "clear-to-move") {
      this.held = null;
      this.waiting.push({ kind: "clear", text: `clear to move, setup ${line.setup}` });
    } else if (line.type === "notice" && line.priority !== "note") {
      this.waiting.push({ kind: line.priority, text: spoken(line.text) });
    } else if (line.type === "ended") {
      this.waiting.push({ kind: "warn", text: "listening has ended" });
    } else if (line.type === "not-live") {
      this.waiting.push({ kind: "warn", text: line.text });
    }
  }

  /** What is to be heard now of all that came: at most one thing. */
  next() {
    const all = this.waiting;
    this.waiting = [];
    const most = Math.max(-1, ...all.map((item) => RANK[item.kind]));
    const first = all.find((item) => RANK[item.kind] === most);
    if (first?.kind !== "hold") return first ?? null;
    const holds = all.filter((item) => item.kind === "hold");
    if (this.held && this.now() - this.held.at < HOLD_PAUSE_MS) {
      this.waiting = holds;
      return null;
    }
    this.held = { key: first.key, at: this.now() };
    const more = holds.length - 1;
    return { kind: "hold", text: `hold: ${first.text}${more > 0 ? `. And ${more} more` : ""}` };
  }

  /** In how many milliseconds something that waits may be heard; none if nothing waits. */
  due() {
    if (!this.waiting.length) return null;
    return this.held ? Math.max(0, HOLD_PAUSE_MS - (this.now() - this.held.at)) : 0;
  }
}

/** Makes it heard, once the browser allows. */
export class Voice {
  constructor(said) {
    this.said = said;
    this.ear = new Ear(() => performance.now());
    this.context = null;
    this.timer = null;
  }

  get on() { return this.context !== null && this.context.state === "running"; }

  /** Must be called from a tap: browsers let nothing sound before. */
  async turnOn() {
    this.context ??= new AudioContext();
    await this.context.resume();
    return this.on;
  }

  hear(line) {
    this.ear.hear(line);
    this.gather(GATHER_MS);
  }

  gather(after) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => {
      const next = this.ear.next();
      if (next) this.sound(next.kind, next.text);
      const due = this.ear.due();
      if (due !== null) this.gather(due + GATHER_MS);
    }, after);
  }

  /** A finding that may have been told while nobody listened. */
  missed(finding) {
    if (!this.ear.told.has(finding.key)) this.hear({ type: "finding", ...finding });
  }

  sound(kind, text) {
    this.said(text, this.on);
    if (!this.on) return;
    for (const [hertz, from, long] of NOTES[kind] ?? []) {
      const [tone, volume] = [this.context.createOscillator(), this.context.createGain()];
      const at = this.context.currentTime + from;
      tone.frequency.value = hertz;
      volume.gain.setValueAtTime(0, at);
      volume.gain.linearRampToValueAtTime(0.5, at + 0.02);
      volume.gain.setValueAtTime(0.5, at + long - 0.02);
      volume.gain.linearRampToValueAtTime(0, at + long);
      tone.connect(volume).connect(this.context.destination);
      tone.start(at);
      tone.stop(at + long);
    }
    if ("speechSynthesis" in window) {
      // What is said last is what holds: an older sentence is broken off.
      speechSynthesis.cancel();
      const words = new SpeechSynthesisUtterance(text);
      words.lang = "en";
      speechSynthesis.speak(words);
    }
  }
}
