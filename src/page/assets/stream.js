// Follows a stream of the daemon: comes back by itself, says whether what is shown is live, lets go while hidden.

const PATIENCE_MS = 5_000; // two beats and a half: then what is shown is no longer live
const AGAIN_MS = 1_000; // between tries to come back
const LOOK_MS = 250; // how often the patience is looked at

export class Stream {
  /**
   * `address` gives where to open it, `takes` what to do with each kind of message, `changed` is called when it becomes
   * live or is no longer, `stays` says whether it is kept while the page is hidden.
   */
  constructor(address, takes, changed, stays = () => false) {
    Object.assign(this, { address, takes, changed, stays });
    this.source = null;
    this.again = null;
    this.heardAt = -Infinity;
    /** When it was last live, as a time of day. */
    this.since = null;
    /** The recording said that it has ended. */
    this.ended = false;
    this.wasLive = false;
    // A hidden page lets go of its stream: a browser opens only six to one host.
    document.addEventListener("visibilitychange", () => {
      if (!document.hidden) { if (!this.source) this.open(); } else if (!this.stays()) this.close();
    });
    setInterval(() => this.look(), LOOK_MS);
    this.open();
  }

  get live() { return !this.ended && performance.now() - this.heardAt < PATIENCE_MS; }

  open() {
    clearTimeout(this.again);
    this.source?.close();
    const source = this.source = new EventSource(this.address());
    for (const [name, take] of Object.entries(this.takes)) {
      source.addEventListener(name, (message) => {
        if (this.source !== source) return;
        this.heardAt = performance.now();
        this.since = new Date().toLocaleTimeString();
        if (name === "ended") this.ended = true;
        else if (name !== "beat") this.ended = false;
        take(JSON.parse(message.data));
        this.look();
      });
    }
    source.onerror = () => {
      if (this.source !== source) return;
      // Always by hand, because a browser gives up for ever after some answers.
      this.close();
      this.again = setTimeout(() => this.open(), AGAIN_MS);
    };
  }

  close() {
    this.source?.close();
    this.source = null;
    this.heardAt = -Infinity;
    clearTimeout(this.again);
    this.look();
  }

  look() {
    if (this.live === this.wasLive) return;
    this.wasLive = this.live;
    this.changed(this.live);
  }

  /** Whether it is live, and if not since when, in words. */
  words() {
    if (this.live) return "live";
    if (this.ended) return "the recording has ended";
    return this.since ? `not live since ${this.since}, trying again` : "not live yet, trying";
  }
}
