// The last word wins: one request at a time, begun a moment after the last change, and again if there was another since.

/** Calls `run` `delayMs` after the last `changed()`, never twice at once; what changes meanwhile is run afterwards. */
export class Latest {
  readonly #run: () => Promise<void>;
  readonly #delayMs: number;
  #timer: ReturnType<typeof setTimeout> | undefined;
  #running = false;
  #again = false;

  constructor(run: () => Promise<void>, delayMs: number) {
    this.#run = run;
    this.#delayMs = delayMs;
  }

  /** Say that something has changed. */
  changed(): void {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => void this.now(), this.#delayMs);
  }

  /** Run at once, or as soon as the run under way has ended. */
  async now(): Promise<void> {
    clearTimeout(this.#timer);
    if (this.#running) {
      this.#again = true;
      return;
    }
    this.#running = true;
    try {
      do {
        this.#again = false;
        await this.#run();
      } while (this.#again);
    } finally {
      this.#running = false;
    }
  }
}
