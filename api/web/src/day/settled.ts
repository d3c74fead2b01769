// What is read while something is being written is read again: a page must never show how it stood before the last tap.

/** Tells readers of writes that are under way. */
export class Settled {
  #written: Promise<unknown> = Promise.resolve();

  /** Say that `writing` is under way; gives what it gives. */
  write<T>(writing: Promise<T>): Promise<T> {
    this.#written = Promise.allSettled([this.#written, writing]);
    return writing;
  }

  /** Return what `reading` gives once nothing is being written any more. */
  async read<T>(reading: () => Promise<T>): Promise<T> {
    for (;;) {
      const written = this.#written;
      await written;
      const found = await reading();
      if (written === this.#written) return found;
    }
  }
}
