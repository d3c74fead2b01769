// Codes that come without being asked for: typed by a scanner that acts as a keyboard, or seen by the camera again and
// again.

/** The longest pause between two keys of a scanner; people who type are slower. */
export const QUICK_MS = 60;
/** The shortest code; fewer keys in a row may be a person's. */
export const LEAST = 4;

/** Tells a scanner's keys from a person's by how quickly they follow each other. */
export class Wedge {
  private typed = "";
  private last = Number.NEGATIVE_INFINITY;

  /** Whether the keys so far follow each other as only a scanner's do. */
  get running(): boolean {
    return this.typed.length > 1;
  }

  /** Take a key that was pressed `at` (ms); return the code that it completed, null for any other key. */
  key(key: string, at: number): string | null {
    const quick = at - this.last <= QUICK_MS;
    if (key === "Enter") {
      const code = quick && this.typed.length >= LEAST ? this.typed : null;
      this.typed = "";
      return code;
    }
    if ([...key].length !== 1) return null; // Shift and its like stand between a scanner's letters
    this.typed = quick ? this.typed + key : key;
    this.last = at;
    return null;
  }

  /** Whether a key at this moment would begin a new run. */
  begins(at: number): boolean {
    return at - this.last > QUICK_MS;
  }
}

/** How long a code must be out of the camera's sight before it is another piece's. */
export const GONE_MS = 1500;

/** Keeps a code that stays in the camera's sight from being counted more than once. */
export class Sight {
  private readonly seen = new Map<string, number>();

  /** Take the codes in sight `at` (ms); return those that have just come into it. */
  codes(inSight: readonly string[], at: number): string[] {
    const fresh = inSight.filter((code) => at - (this.seen.get(code) ?? Number.NEGATIVE_INFINITY) > GONE_MS);
    for (const code of inSight) this.seen.set(code, at);
    return [...new Set(fresh)];
  }
}
